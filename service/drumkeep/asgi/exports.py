"""What is on record as a file: written beside the database's way, then sent as fast as it goes.

So a slow connection holds no transaction, and a large file no memory.
"""

import io
from collections.abc import Iterator
from tempfile import TemporaryFile
from typing import IO, Final

from fastapi.responses import StreamingResponse

from drumkeep.asgi.dependencies import Database
from drumkeep.operations.exports import Asked, export, write
from drumkeep.storage.transaction import Tx

_CHUNK: Final = 256 * 1024


async def export_answer(database: Database, *, noun: str, asked: Asked) -> StreamingResponse:
    """Answer an export as CSV (RFC 4180).

    Raises
    ------
    Invalid
        It cannot be chosen so.
    """
    written = await database.read(lambda tx: _written(tx, noun=noun, asked=asked))
    return StreamingResponse(
        _chunks(written),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{noun}.csv"'},
    )


def _written(tx: Tx, *, noun: str, asked: Asked) -> IO[bytes]:
    table = export(tx, noun=noun, asked=asked)
    file = TemporaryFile()  # noqa: SIM115 - closed when it is sent
    # With the mark a spreadsheet knows that it is UTF-8.
    text = io.TextIOWrapper(file, encoding="utf-8-sig", newline="")
    write(table, text)
    text.flush()
    text.detach()
    file.seek(0)
    return file


def _chunks(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        while chunk := file.read(_CHUNK):
            yield chunk
