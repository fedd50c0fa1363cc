"""How benchmarks time: medians of five, against a limit measured in the same run.

The limit is one numpy pass over the arrays that the work must touch at least once: what a machine
of the moment can do, however busy it is.
"""

import json
import resource
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

RUNS: Final = 5
_KIB_PER_MIB: Final = 1024.0


@dataclass(frozen=True)
class Timed:
    """What was measured: seconds (median and the fastest), the pass, and their ratio."""

    what: str
    promised_s: float | None
    seconds: float
    fastest_s: float
    pass_s: float
    ratio_to_pass: float
    peak_mib: float


def timed(
    what: str,
    work: Callable[[], object],
    *,
    over: NDArray[np.float64],
    promised_s: float | None = None,
) -> Timed:
    """Run some work five times and one numpy pass over its arrays as often, in turns."""
    work()
    own, passes = [], []
    for _ in range(RUNS):
        passes.append(_seconds(lambda: over * 1.000001 + 0.5))
        own.append(_seconds(work))
    median, limit = statistics.median(own), statistics.median(passes)
    return Timed(
        what=what,
        promised_s=promised_s,
        seconds=median,
        fastest_s=min(own),
        pass_s=limit,
        ratio_to_pass=median / limit,
        peak_mib=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / _KIB_PER_MIB,
    )


def tell(results: list[Timed]) -> None:
    """Print results as JSON on standard output."""
    json.dump([asdict(result) for result in results], sys.stdout, indent=2)
    sys.stdout.write("\n")


def _seconds(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun
