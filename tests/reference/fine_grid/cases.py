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
DAY_H: Final = 24.0
DAY_NIGHT_STEP_H: Final = 0.5


@dataclass(frozen=True)
class Case:
    """One run; units are in the names.

    Attributes
    ----------
    set
        ``calibration`` or ``check``.
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
        return FOLDER / self.set / f"{self.name}.csv"

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


def cases() -> list[Case]:
    """List every run of ``cases.toml``, in its order."""
    with (FOLDER / "cases.toml").open("rb") as file:
        return [_case(given) for given in tomllib.load(file)["case"]]


def _case(given: dict[str, Any]) -> Case:
    start, air = given.pop("start_c"), given.pop("air", None)
    if air is None:
        air = _day_night(given["hours"], **given.pop("day_night"))
    return Case(
        start_c=tuple(start) if isinstance(start, list) else (start,) * LAYERS,
        air=tuple((hour, degrees) for hour, degrees in air),
        **given,
    )


def _day_night(hours: float, *, mean_c: float, swing_c: float) -> list[tuple[float, float]]:
    points = [n * DAY_NIGHT_STEP_H for n in range(round(hours / DAY_NIGHT_STEP_H) + 1)]
    return [(h, round(mean_c + swing_c * math.sin(math.tau * h / DAY_H), 3)) for h in points]
