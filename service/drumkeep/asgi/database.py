"""The way into the database for requests: some at a time, from the primary or a replica."""

from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import ExitStack, asynccontextmanager, contextmanager
from typing import Final, TypeVar

import anyio
from fastapi.concurrency import contextmanager_in_threadpool, run_in_threadpool

from drumkeep.errors import Unavailable
from drumkeep.storage.engine import Engine
from drumkeep.storage.pulse import pulse
from drumkeep.storage.replica import Replica
from drumkeep.storage.transaction import Tx, begin, reading, transaction

_WAIT_SECONDS: Final = 10.0

LOOK_EVERY_S: Final = 1.0
"""At most so often all open pages together look whether something has changed."""

_T = TypeVar("_T")


class Database:
    """Lets requests into the database in turn.

    Requests wait here, on the event loop, and not in a thread: threads full of requests that wait
    for a lock would leave none for the request that holds it.

    Parameters
    ----------
    engine
        Where transactions are made.
    writers
        Requests that may write at a time: 1 on SQLite, which has one lock for writing.
    readers
        Requests that may read at a time. Writers and readers together stay below the size of the
        engine's pool, so that no thread ever waits for a connection.
    replica
        Where those may read who can do with what was so a few seconds ago.
    """

    def __init__(
        self, engine: Engine, *, writers: int, readers: int, replica: Replica | None = None
    ) -> None:
        self.engine = engine
        self._replica = replica
        self._writers = anyio.Semaphore(writers)
        self._readers = anyio.Semaphore(readers)
        self._looking = anyio.Lock()
        self._looked_at = -LOOK_EVERY_S
        self._seen: tuple[object, ...] = ()

    @asynccontextmanager
    async def writing(self) -> AsyncIterator[Tx]:
        """Open a transaction that may write; it is committed at the end of the block.

        Raises
        ------
        Unavailable
            No turn came within 10 s, or the database is locked, full or away.
        Conflict
            A constraint refused the rows.
        """
        async with (
            _turn(self._writers),
            contextmanager_in_threadpool(transaction(self.engine)) as tx,
        ):
            yield tx

    @property
    def replica_serves(self) -> bool:
        """Whether those who can do with what was so a few seconds ago read from a replica now."""
        return self._replica is not None and self._replica.fresh

    @asynccontextmanager
    async def reading(self, *, stale: bool = False) -> AsyncIterator[Tx]:
        """Open a transaction that cannot write.

        Parameters
        ----------
        stale
            Whether what was so a few seconds ago will do.

        Raises
        ------
        Unavailable
            No turn came within 10 s, or the database is away.
        """
        async with (
            _turn(self._readers),
            contextmanager_in_threadpool(self._open(stale=stale)) as tx,
        ):
            yield tx

    async def read(self, call: Callable[[Tx], _T], *, stale: bool = False) -> _T:
        """Run a function of a reading transaction in a thread."""

        def run() -> _T:
            with self._open(stale=stale) as tx:
                return call(tx)

        async with _turn(self._readers):
            return await run_in_threadpool(run)

    async def look(self) -> tuple[object, ...]:
        """Return what changes when something that pages show has, as of a second ago at most.

        Looks where pages are read, a replica, or they would find nothing changed yet; once for all
        of them, however many are open.
        """
        async with self._looking:
            now = anyio.current_time()
            if now - self._looked_at >= LOOK_EVERY_S:
                # A page that was read from the one may be older than what the other says.
                serves = self.replica_serves
                self._seen = (serves, *await self.read(pulse, stale=True))
                self._looked_at = now
            return self._seen

    @contextmanager
    def _open(self, *, stale: bool) -> Iterator[Tx]:
        with ExitStack() as ends:
            if stale and self._replica is not None and self._replica.fresh:
                try:
                    tx = ends.enter_context(reading(self._replica.engine))
                    begin(tx)
                except Unavailable:
                    self._replica.doubt()
                else:
                    yield tx
                    return
            yield ends.enter_context(reading(self.engine))

    async def write(self, call: Callable[[Tx], _T]) -> _T:
        """Run a function of a writing transaction in a thread, and commit."""

        def run() -> _T:
            with transaction(self.engine) as tx:
                return call(tx)

        async with _turn(self._writers):
            return await run_in_threadpool(run)


@asynccontextmanager
async def _turn(semaphore: anyio.Semaphore) -> AsyncIterator[None]:
    with anyio.move_on_after(_WAIT_SECONDS) as waiting:
        await semaphore.acquire()
    if waiting.cancelled_caught:
        raise Unavailable("Too many requests are waiting for the database. Try again.")
    try:
        yield
    finally:
        semaphore.release()
