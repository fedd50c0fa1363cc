"""A logger's download that came with a request: a transaction a portion."""

from datetime import datetime
from functools import partial

from drumkeep.asgi.database import Database
from drumkeep.operations.readings_import import (
    ImportAsked,
    ImportReport,
    Tally,
    portion_of,
    read_import,
)


async def bring_in(
    database: Database, *, content: bytes, asked: ImportAsked, check: bool, now: datetime
) -> ImportReport:
    """Store a file, or find out what would become of it.

    Raises
    ------
    Invalid
        It cannot be read, or an option does not fit it; then nothing was stored.
    """
    imported = await database.read(partial(read_import, content=content, asked=asked, now=now))
    portion = portion_of(check=check)
    tally = Tally()
    for pack in imported.packs:
        tally.add(await database.write(partial(portion, pack=pack, now=now)))
    return tally.report(imported.file)
