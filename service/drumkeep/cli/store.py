"""The database, as commands work on it beside the service."""

from collections.abc import Iterator
from contextlib import contextmanager

from drumkeep.app import make_engine
from drumkeep.settings import Settings
from drumkeep.storage import schema, served
from drumkeep.storage.engine import Engine


@contextmanager
def opened(settings: Settings, *, alone: bool = False) -> Iterator[Engine]:
    """Give the database, made or brought up to date, for as long as the block lasts.

    Parameters
    ----------
    alone
        Whether nobody else may work on it meanwhile.
    """
    settings.prepare()
    engine = make_engine(settings)
    try:
        schema.upgrade(engine)
        with served.alone(engine) if alone else served.together(engine):
            yield engine
    finally:
        engine.dispose()
