"""Back-test of the look ahead on three typical years; JSON on standard output.

    python -m tests.benchmark.backtest_air [--origins 60]

How far off the air was said to be 6, 12 and 24 hours ahead, and was; how far off that left the
bottom of a drum and the time to its seeding limit; and how often the time at which a drum was ready
lay between the earliest and the latest that were said. What came is the layer model under the air
that came, with film and properties drawn from their stated ranges: no measured curve of a drum is
public. Worst first.
"""

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air_ahead import PER_HOUR
from drumkeep.domain.products import OutputClass
from tests.builders.air_trials import (
    DrumTrial,
    Ground,
    origins,
    outdoors,
    shed,
    try_air,
    try_drums,
    warm_room,
)
from tests.builders.weather import YEARS

Floats = NDArray[np.float64]

HOURS: Final = (6, 12, 24)
SEED: Final = 20260
SHARE: Final = 0.9


def air_row(ground: Ground, hours: Sequence[int]) -> dict[str, Any]:
    """Return how far off the air of a place was."""
    trial = try_air(ground, hours)
    off = np.abs(trial.error_k)
    return {
        "place": ground.name,
        "kind": ground.kind,
        "cases": len(hours),
        **{
            f"{hour}_h": {
                **_errors(off[hour * PER_HOUR]),
                "said_k": _rounded(np.median(trial.off_k[hour * PER_HOUR])),
                "covered": _rounded(trial.covered[hour * PER_HOUR]),
            }
            for hour in HOURS
        },
    }


def drum_row(name: str, trial: DrumTrial) -> dict[str, Any]:
    """Return how far off a group of drums was."""
    off = np.abs(trial.bottom_k)
    limit = trial.limit_off_h
    return {
        "drums": name,
        "bottom": {f"{hour}_h": _errors(off[hour * PER_HOUR]) for hour in HOURS},
        "bottom_covered": _rounded(trial.covered.mean()),
        "time_to_limit_h": {"cases": len(limit), **(_errors(limit) if len(limit) else {})},
        "ready": {output: _ready(trial, output) for output in OutputClass},
    }


def _ready(trial: DrumTrial, output: OutputClass) -> dict[str, Any]:
    ready = trial.ready[output]
    waiting, told = ready.waiting, ready.told
    return {
        "cases": int(waiting.sum()),
        "times": ready.times,
        "covered": _share(ready.covers, waiting),
        "cases_with_latest": int(told.sum()),
        "covered_with_latest": _share(ready.covers, told),
        "median_width_h": _rounded(np.median(ready.width_h)) if len(ready.width_h) else None,
    }


def _share(flags: NDArray[np.bool_], among: NDArray[np.bool_]) -> float | None:
    return _rounded(flags[among].mean()) if among.any() else None


def _errors(off: Floats) -> dict[str, float]:
    return {"mean": _rounded(off.mean()), "nine_in_ten": _rounded(np.quantile(off, SHARE))}


def _rounded(value: Any) -> float:
    return round(float(value), 3)


def groups(year: str) -> Iterator[tuple[str, Ground, Ground]]:
    """Give where drums stood and where they are then: warmed, left, and put out to cool."""
    yield f"shed to warm room, {year}", shed(year), warm_room(year)
    yield f"yard to warm room, {year}", outdoors(year), warm_room(year)
    yield f"left in the shed, {year}", shed(year), shed(year)
    yield f"left in the yard, {year}", outdoors(year), outdoors(year)
    yield f"warm room to yard, {year}", warm_room(year), outdoors(year)


def report(count: int) -> dict[str, Any]:
    """Run all trials at so many times of each year."""
    hours = origins(count)
    places = [make(year) for year in YEARS for make in (outdoors, shed, warm_room)]
    trials = {
        name: try_drums(before, after, hours, seed=SEED)
        for year in YEARS
        for name, before, after in groups(year)
    }
    rows = [drum_row(name, trial) for name, trial in trials.items()]
    return {
        "origins": count,
        "air": sorted(
            (air_row(place, origins(5 * count)) for place in places),
            key=lambda row: -float(row["24_h"]["nine_in_ten"]),
        ),
        "drums": sorted(rows, key=_worst),
        "all": {
            "warmed": _pooled([t for name, t in trials.items() if "to warm room" in name]),
            "left": _pooled([t for name, t in trials.items() if "left" in name]),
        },
    }


def _worst(row: dict[str, Any]) -> float:
    found = [ready["covered"] for ready in row["ready"].values() if ready["covered"] is not None]
    return min(found, default=1.0)


def _pooled(trials: Sequence[DrumTrial]) -> dict[str, Any]:
    every = [trial.ready[output] for trial in trials for output in OutputClass]
    waiting = sum(int(ready.waiting.sum()) for ready in every)
    right = sum(int((ready.waiting & ready.covers).sum()) for ready in every)
    return {"cases": waiting, "covered": _rounded(right / max(waiting, 1))}


def main() -> None:
    """Print the report."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("--origins", type=int, default=60, help="times of each year to look from")
    arguments = parser.parse_args()
    sys.stdout.write(json.dumps(report(arguments.origins), indent=1) + "\n")


if __name__ == "__main__":
    main()
