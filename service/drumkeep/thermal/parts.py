"""Compiled loops over many drums, shared out among the processor's cores.

The loops let go of the interpreter while they run, so that plain threads work side by side.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from itertools import pairwise
from typing import Final

from numba import config

CORES: Final[int] = config.NUMBA_NUM_THREADS  # type: ignore[attr-defined]

FEWEST: Final = 1000
"""Steps of drums in a part: fewer are done before a thread has begun."""


def in_parts(work: Callable[[slice], None], *, count: int, steps: int = 1) -> None:
    """Call ``work`` with slices that together cover ``count`` drums of so many steps each."""
    parts = min(CORES, count, count * steps // FEWEST)
    if parts <= 1:
        work(slice(0, count))
        return
    borders = [count * part // parts for part in range(parts + 1)]
    slices = [slice(a, b) for a, b in pairwise(borders)]
    for done in [_threads().submit(work, part) for part in slices]:
        done.result()


@cache
def _threads() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(CORES, thread_name_prefix="drums")
