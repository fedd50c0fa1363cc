"""What is on record as a file: written beside the database's way, then sent as fast as it goes.

So a slow connection holds no transaction, and a large file no memory.
"""

import io
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import datetime
from tempfile import TemporaryFile
from typing import IO, Final

from fastapi.responses import StreamingResponse

from drumkeep.asgi.database import Database
from drumkeep.operations.exports import Asked, export, write
from drumkeep.storage import archive
from drumkeep.storage.transaction import Tx

_CHUNK: Final = 256 * 1024


async def export_answer(database: Database, *, noun: str, asked: Asked) -> StreamingResponse:
    """Answer an export as CSV (RFC 4180).

    Raises
    ------
    Invalid
        It cannot be chosen so.
    """

    def put(tx: Tx, file: IO[bytes]) -> None:
        table = export(tx, noun=noun, asked=asked)
        # With the mark a spreadsheet knows that it is UTF-8.
        text = io.TextIOWrapper(file, encoding="utf-8-sig", newline="")
        write(table, text)
        text.flush()
        text.detach()

    return await _answer(database, put, name=f"{noun}.csv", kind="text/csv; charset=utf-8")


async def archive_answer(database: Database, *, now: datetime) -> StreamingResponse:
    """Answer all that is stored, without its secrets, as JSON lines; who took it is on record."""
    await database.write(lambda tx: tx.note_deed("took all of it out", kind="store", thing="all"))

    def put(tx: Tx, file: IO[bytes]) -> None:
        archive.write(tx, file, now=now)

    name = f"drumkeep-{now:%Y-%m-%d}.jsonl"
    return await _answer(database, put, name=name, kind="application/jsonl")


async def _answer(
    database: Database, put: Callable[[Tx, IO[bytes]], None], *, name: str, kind: str
) -> StreamingResponse:
    def write_down(tx: Tx) -> IO[bytes]:
        with ExitStack() as ends:
            file = ends.enter_context(TemporaryFile())
            put(tx, file)
            file.seek(0)
            ends.pop_all()  # closed when it is sent
        return file

    return StreamingResponse(
        _chunks(await database.read(write_down)),
        media_type=kind,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _chunks(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        while chunk := file.read(_CHUNK):
            yield chunk
