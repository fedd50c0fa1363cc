"""All that is stored as one file of JSON lines, and back into an empty store of either kind.

The first line says what the file is, the last how many rows of each table there are and the digest
of everything before it; between them stands a row a line. What is secret does not leave
(``storage/archive_rows.py``).
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from datetime import datetime
from hashlib import blake2b
from typing import IO, Any, Final

import msgspec
from sqlalchemy import Table, func, select

import drumkeep
from drumkeep.errors import Conflict, Fault, Invalid
from drumkeep.storage import schema, whole_tables
from drumkeep.storage.archive_rows import LEFT_OUT, leaving, reader, without_secrets
from drumkeep.storage.transaction import Tx

TITLE: Final = "The archive cannot be brought in."

FORMAT: Final = 1
_KIND: Final = "a drumkeep store"


class Header(msgspec.Struct, frozen=True):
    """What an archive says of itself: of which format, tables and program, and from when."""

    archive: str
    format: int
    tables: str
    program: str
    taken_at: datetime


class _End(msgspec.Struct, frozen=True):
    rows: dict[str, int]
    blake2b: str


class _Line(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    table: str | None = None
    row: msgspec.Raw = msgspec.Raw()
    end: _End | None = None


_LINE: Final = msgspec.json.Decoder(_Line)


def write(tx: Tx, file: IO[bytes], *, now: datetime) -> dict[str, int]:
    """Write all of a store; return how many rows of each table.

    Parameters
    ----------
    tx
        A transaction that only reads: all of it is of one moment.
    """
    digest = blake2b()

    def put(line: object) -> None:
        written = msgspec.json.encode(line) + b"\n"
        digest.update(written)
        file.write(written)

    put(Header(_KIND, FORMAT, schema.newest() or "", drumkeep.__version__, now))
    connection = tx.session.connection()
    counts = {}
    for table in leaving():
        name = str(table.name)  # of a kind of its own that is not written
        counts[name] = 0
        for rows in whole_tables.portions(connection, table):
            for row in rows:
                put({"table": name, "row": without_secrets(table, row, at=now)})
            counts[name] += len(rows)
    put({"end": _End(counts, digest.hexdigest())})
    return counts


def check(file: IO[bytes]) -> Header:
    """Read a file from its beginning to its end and return its header.

    Raises
    ------
    Invalid
        It is no archive, was cut off or altered.
    Conflict
        Another version of the program wrote it.
    """
    file.seek(0)
    header = _header(file.readline())
    for _ in _rows(file):
        pass
    return header


def store(tx: Tx, file: IO[bytes], *, now: datetime) -> dict[str, int]:
    """Store all rows of an archive that was checked; return how many of each table.

    Raises
    ------
    Conflict
        The store holds something already, or a service runs on it.
    Invalid
        The file is not as it was when it was checked, or a row is none of its table.
    """
    _refuse_unless_empty(tx, now=now)
    tables = {table.name: table for table in leaving()}
    counts: Counter[str] = Counter()
    waiting: list[dict[str, Any]] = []
    last: Table | None = None
    for number, line in _rows(file):
        table = tables.get(line.table or "")
        if table is None:
            mend = f"Tables are {', '.join(tables)}."
            raise _no_archive(f"line {number}", line.table, "is no table that is taken in", mend)
        full = last is not None and len(waiting) >= whole_tables.at_once(last)
        if last is not None and (full or last is not table):
            whole_tables.store(tx, last, waiting)
            waiting = []
        waiting.append(_read(table, line.row, number))
        counts[table.name] += 1
        last = table
    if last is not None:
        whole_tables.store(tx, last, waiting)
    whole_tables.count_on(tx, list(tables.values()))
    total = sum(counts.values())
    tx.note_deed("brought all of it in", kind="store", thing="all", rows=(None, total))
    return dict(counts)


def _refuse_unless_empty(tx: Tx, *, now: datetime) -> None:
    connection = tx.session.connection()
    for table in whole_tables.every_table():
        if table.name in LEFT_OUT:
            continue
        there = connection.execute(select(func.count()).select_from(table)).scalar_one()
        if there:
            problem = f"holds {there} row{'' if there == 1 else 's'} already"
            mend = "Name an empty store, such as another --data-dir; nothing is ever mixed."
            raise Conflict(TITLE, [Fault(table.name, None, problem, mend)])
    if whole_tables.is_served(tx, now=now):
        mend = "Stop the service, wait a minute, and call the command again."
        raise Conflict(TITLE, [Fault("store", None, "has a service running on it", mend)])


def _header(line: bytes) -> Header:
    whole = "Give the file that `drumkeep export all` wrote, whole and as it was."
    try:
        found = msgspec.json.decode(line, type=Header)
    except msgspec.MsgspecError:
        found = None
    if found is None or found.archive != _KIND:
        raise _no_archive("line 1", None, "does not begin as an archive does", whole)
    for name, value, wanted in (
        ("format", found.format, FORMAT),
        ("tables", found.tables, schema.newest()),
    ):
        if value != wanted:
            mend = (
                f"Bring it in with the version that wrote it, {found.program}, "
                "then upgrade that store."
            )
            problem = f"is another than this version's, {wanted}"
            raise Conflict(TITLE, [Fault(name, value, problem, mend)])
    return found


def _rows(file: IO[bytes]) -> Iterator[tuple[int, _Line]]:
    """Yield the lines of rows with their numbers; end only where the last line bears them out."""
    whole = "Take the archive out again, or copy it again, and give it whole."
    digest = blake2b()
    counts: Counter[str] = Counter()
    file.seek(0)
    digest.update(file.readline())
    for number, line in enumerate(file, start=2):
        try:
            found = _LINE.decode(line)
        except msgspec.MsgspecError as error:
            raise _no_archive(
                f"line {number}", None, f"is cut or altered: {error}", whole
            ) from None
        if found.end is not None:
            _check_end(found.end, counts, digest.hexdigest())
            if file.read(1):
                raise _no_archive(f"line {number + 1}", None, "comes after the end", whole)
            return
        digest.update(line)
        counts[found.table or ""] += 1
        yield number, found
    raise _no_archive("file", None, "was cut off: its last line is missing", whole)


def _check_end(end: _End, counts: Mapping[str, int], digest: str) -> None:
    if digest == end.blake2b and dict(counts) == {n: c for n, c in end.rows.items() if c}:
        return
    mend = "Take the archive out again, or copy it again, and leave it as it is."
    raise _no_archive(
        "file", None, "was altered: its digest is another than its last line says", mend
    )


def _read(table: Table, row: msgspec.Raw, number: int) -> dict[str, Any]:
    try:
        return msgspec.structs.asdict(reader(table).decode(row))
    except msgspec.MsgspecError as error:
        problem = f"is no row of {table.name}: {error}"
        mend = "Take the archive out again; this one was written by hand."
        raise _no_archive(f"line {number}", None, problem, mend) from None


def _no_archive(field: str, value: object, problem: str, mend: str) -> Invalid:
    return Invalid(TITLE, [Fault(field, value, problem, mend)])
