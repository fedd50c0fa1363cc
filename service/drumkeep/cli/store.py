"""The database, as commands work on it beside the service."""

from collections.abc import Iterator
from contextlib import contextmanager

from drumkeep.app import make_engine
from drumkeep.settings import Settings
from drumkeep.storage import schema
from drumkeep.storage.engine import Engine


@contextmanager
def opened(settings: Settings) -> Iterator[Engine]:
    """Give the database, made or brought up to date, for as long as the block lasts."""
    settings.prepare()
    engine = make_engine(settings)
    try:
        schema.upgrade(engine)
        yield engine
    finally:
        engine.dispose()
