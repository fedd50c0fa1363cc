"""The runs of the two sets: what the solver was given, and the curves it gave."""

import csv
import math
import tomllib
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Final

import numpy as np

from tests.reference.fine_grid.grid import LAYERS, Floats

FOLDER: Final = Path(__file__).parent
RADIUS_M: Final = 0.286
GIVEN: Final = "given"
GIVEN_HOURS: Final = 48.0
DAY_H: Final = 24.0
DAY_NIGHT_STEP_H: Final = 0.5


@dataclass(frozen=True)
class Case:
    """One run; units are in the names.

    Attributes
    ----------
    set
        ``calibration``, ``check`` or ``given``.
    side
        ``iso`` or ``resin``.
    start_c
        Eight equal layers, bottom first.
    air
        Points (hours, °C); straight lines between them, the last one held.
    """

    name: str
    set: str
    side: str
    depth_m: float
    density_kg_m3: float
    specific_heat_j_kgk: float
    conductivity_w_mk: float
    expansion_1_k: float
    kinematic_viscosity_m2_s: float
    side_w_m2k: float
    top_w_m2k: float
    bottom_w_m2k: float
    start_c: tuple[float, ...]
    air: tuple[tuple[float, float], ...]
    hours: float

    @property
    def net_kg(self) -> float:
        """Mass of the liquid."""
        return self.density_kg_m3 * math.pi * RADIUS_M**2 * self.depth_m

    @property
    def path(self) -> Path:
        """Where its curves are."""
        folder = FOLDER if self.set == GIVEN else FOLDER / self.set
        return folder / f"{self.name}.csv"

    @cached_property
    def curves(self) -> dict[str, Floats]:
        """``h`` and, °C, ``air``, ``mean``, ``min``, ``max``, ``wall``, ``L1`` … ``L8``."""
        with self.path.open(newline="") as file:
            head, *rows = csv.reader(file)
        return dict(zip(head, np.array(rows, dtype=np.float64).T, strict=True))

    @property
    def layers_c(self) -> Floats:
        """Eight equal layers, bottom first, at each hour, (times, 8)."""
        return np.stack([self.curves[f"L{n + 1}"] for n in range(LAYERS)], axis=1)


def calibration() -> list[Case]:
    """List the runs that a model may be fitted to."""
    return [case for case in cases() if case.set == "calibration"]


def check() -> list[Case]:
    """List the runs that no model may have been fitted to."""
    return [case for case in cases() if case.set == "check"]


def given() -> list[Case]:
    """List the four runs that somebody else's solver made (``runs.csv``)."""
    with (FOLDER / "runs.csv").open(newline="") as file:
        return [_given(row) for row in csv.DictReader(file)]


def cases() -> list[Case]:
    """List every run of ``cases.toml``, in its order."""
    with (FOLDER / "cases.toml").open("rb") as file:
        return [_case(entry) for entry in tomllib.load(file)["case"]]


def _given(row: dict[str, str]) -> Case:
    name, side = row.pop("run"), row.pop("side")
    number = {key: float(value) for key, value in row.items()}
    return Case(
        name=name,
        set=GIVEN,
        side=side,
        start_c=(number.pop("start_c"),) * LAYERS,
        air=((0.0, number.pop("air_c")),),
        hours=GIVEN_HOURS,
        **number,
    )


def _case(entry: dict[str, Any]) -> Case:
    start, air = entry.pop("start_c"), entry.pop("air", None)
    if air is None:
        air = _day_night(entry["hours"], **entry.pop("day_night"))
    return Case(
        start_c=tuple(start) if isinstance(start, list) else (start,) * LAYERS,
        air=tuple((hour, degrees) for hour, degrees in air),
        **entry,
    )


def _day_night(hours: float, *, mean_c: float, swing_c: float) -> list[tuple[float, float]]:
    points = [n * DAY_NIGHT_STEP_H for n in range(round(hours / DAY_NIGHT_STEP_H) + 1)]
    return [(h, round(mean_c + swing_c * math.sin(math.tau * h / DAY_H), 3)) for h in points]
