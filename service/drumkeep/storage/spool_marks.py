"""How much of each gateway's spool files is stored."""

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Final

import msgspec
from sqlalchemy import select
from sqlmodel import col
from sqlmodel import select as select_objects
from sqlmodel.sql.sqltypes import UTCDateTime

from drumkeep.storage.bulk import as_stored, insert, keyed
from drumkeep.storage.tables.readings import SpoolMark
from drumkeep.storage.transaction import Tx

REMEMBERED: Final = 4096
"""Numbers past a hole that are remembered; those past the limit come again from the gateway."""

SPOOLS_KEPT: Final = 32
"""Spool files of one gateway that are remembered; a forgotten one begins anew."""


SpoolFile = tuple[int, str]
"""A gateway's id and the name of one of its spool files."""


def advance(
    tx: Tx, *, stored: Mapping[SpoolFile, Collection[int]], now: datetime
) -> dict[SpoolFile, int]:
    """Note packs of spool files as stored.

    A file never seen begins at the lowest of its numbers: what came before it was confirmed in
    an earlier life of this database. Whoever sends must therefore begin a file's first sending
    with its oldest pack.

    Parameters
    ----------
    stored
        At least one number of each file.

    Returns
    -------
    dict
        The number up to which every pack of a file is stored.
    """
    connection = tx.session.connection()
    known = {
        (gateway_id, spool): (upto, beyond)
        for gateway_id, spool, upto, beyond in connection.execute(
            select(
                col(SpoolMark.gateway_id),
                col(SpoolMark.spool),
                col(SpoolMark.upto),
                col(SpoolMark.beyond),
            ).where(keyed(connection, col(SpoolMark.gateway_id), [one for one, _ in stored]))
        )
    }
    reached: dict[SpoolFile, int] = {}
    rows: list[tuple[object, ...]] = []
    changed_at = as_stored(connection, UTCDateTime(), now)
    for file, numbers in sorted(stored.items()):
        upto, beyond = _reach(*known.get(file, (min(numbers) - 1, [])), numbers)
        reached[file] = upto
        rows.append((*file, upto, msgspec.json.encode(beyond).decode(), changed_at))
    # In one statement, as with objects, or row by row, it would be a fifth of what a batch takes.
    insert(
        tx,
        into="spool_mark (gateway_id, spool, upto, beyond, changed_at)",
        types=("int4", "text", "int8", "json", "timestamptz"),
        rows=rows,
        on_conflict="(gateway_id, spool) DO UPDATE SET upto = excluded.upto, "
        "beyond = excluded.beyond, changed_at = excluded.changed_at",
    )
    for gateway_id in {one for one, _ in stored.keys() - known.keys()}:
        _forget_oldest(tx, gateway_id)
    return reached


def _reach(upto: int, beyond: Collection[int], numbers: Collection[int]) -> tuple[int, list[int]]:
    """Return the last number before the first that is missing, and those past it."""
    known = set(numbers).union(beyond)
    while upto + 1 in known:
        upto += 1
    return upto, sorted(number for number in known if number > upto)[:REMEMBERED]


def _forget_oldest(tx: Tx, gateway_id: int) -> None:
    """Keep the rows bounded whatever a gateway sends."""
    statement = (
        select_objects(SpoolMark)
        .where(SpoolMark.gateway_id == gateway_id)
        .order_by(col(SpoolMark.changed_at).desc())
        .offset(SPOOLS_KEPT)
    )
    for old in tx.session.exec(statement).all():
        tx.session.delete(old)
