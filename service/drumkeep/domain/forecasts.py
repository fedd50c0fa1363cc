"""What-if: one drum, given air ahead, nothing stored."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from drumkeep.domain.liquid_surroundings import table_of
from drumkeep.domain.products import Properties, Side, default_product
from drumkeep.errors import Fault, Invalid
from drumkeep.thermal.boundary import Exposure, exposure_of
from drumkeep.thermal.constants import DRUM_BRIM_M3, DRUM_STEEL_KG
from drumkeep.thermal.march import Course, Reach, likely_layers, march, reach_of
from drumkeep.thermal.parameter_sets import GIVEN_EXPOSURE, NAMED_SETTING, SETS, spread_out
from drumkeep.thermal.properties import Row
from drumkeep.thermal.stratified import LAYERS, Liquid

STEP_S: Final = 300.0
LEAST_HOURS: Final = 0.08
"""A little under the step, so that whoever writes 0.083 for five minutes is understood."""

MOST_HOURS: Final = 24.0 * 31
MOST_POINTS: Final = 2000

_GIVEN: Final = {
    Row.DENSITY: "density_kg_m3",
    Row.EXPANSION: "expansion_1_k",
    Row.SPECIFIC_HEAT: "specific_heat_j_kgk",
    Row.CONDUCTIVITY: "conductivity_w_mk",
}


@dataclass(frozen=True)
class AirPoint:
    """Air at an hour from the start, °C."""

    h: float
    c: float


@dataclass(frozen=True)
class ForecastRequest:
    """The body of ``POST /api/v1/forecasts`` and of ``drumkeep forecast FILE``, checked."""

    side: Side
    start_c: tuple[float, ...]
    air: tuple[AirPoint, ...]
    net_kg: float | None = None
    hours: float = 48.0
    step_h: float = 0.5
    exposure: Exposure | None = None
    motion: str = "still"
    standing: str = "pallet"
    share: float = 1.0
    flow: str = "free"
    steel_kg: float | None = None
    properties: Mapping[str, float] | None = None
    targets_c: Sequence[float] = ()


@dataclass(frozen=True)
class Forecast:
    """Temperatures (°C) at each hour; ``layers_c[time][layer]``, bottom first."""

    h: list[float]
    bottom_c: list[float]
    mean_c: list[float]
    top_c: list[float]
    layers_c: list[list[float]]
    low_c: list[float]
    high_c: list[float]
    reach: list[Reach]


def forecast(request: ForecastRequest) -> Forecast:
    """Compute the course of one drum.

    Raises
    ------
    Invalid
        When the request holds together field by field but not as a whole.
    """
    _check(request)
    liquid = _liquid(request)
    steps = int(np.ceil(request.hours * 3600.0 / STEP_S - 1e-9))
    grid_h = np.arange(steps + 1) * (STEP_S / 3600.0)
    air = np.interp(grid_h, [p.h for p in request.air], [p.c for p in request.air])
    start = np.asarray(request.start_c, dtype=np.float64)
    course = march(
        np.broadcast_to(start, (SETS, 1, LAYERS)),
        liquid=spread_out(
            liquid, spread=GIVEN_EXPOSURE if request.exposure is not None else NAMED_SETTING
        ),
        air_c=air[:, None, None],
        drive_k=np.zeros(1),
        step_s=STEP_S,
        mixed=request.flow == "mixed",
        start_known=True,
    )
    return _sampled(request, course=course, grid_h=grid_h)


def _sampled(request: ForecastRequest, *, course: Course, grid_h: np.ndarray) -> Forecast:
    count = int(np.floor(request.hours / request.step_h + 1e-9))
    hours = np.arange(count + 1) * request.step_h

    def at_hours(values: np.ndarray) -> list[float]:
        return [float(v) for v in np.interp(hours, grid_h, values)]

    band = course.band
    layers = likely_layers(course)
    sampled = [at_hours(layers[:, j]) for j in range(LAYERS)]
    return Forecast(
        h=[float(h) for h in hours],
        bottom_c=at_hours(band.bottom[:, 0]),
        mean_c=at_hours(band.mean[:, 0]),
        top_c=at_hours(band.top[:, 0]),
        layers_c=[[sampled[j][i] for j in range(LAYERS)] for i in range(len(hours))],
        low_c=at_hours(band.low[:, 0]),
        high_c=at_hours(band.high[:, 0]),
        reach=[reach_of(course, target_c=target) for target in request.targets_c],
    )


def _check(request: ForecastRequest) -> None:
    faults = []
    if request.flow == "none":
        faults.append(
            Fault(
                "flow",
                "none",
                "is not computed yet: conduction through solids comes later",
                "Use free, or mixed while agitation runs.",
            )
        )
    if request.step_h > request.hours:
        mend = f"Give a step of at most {request.hours:g} h."
        faults.append(Fault("step_h", request.step_h, "is longer than the forecast", mend))
    elif request.hours / request.step_h > MOST_POINTS:
        least = math.ceil(request.hours / MOST_POINTS * 1000.0) / 1000.0
        mend = f"Give a step of at least {least:g} h."
        faults.append(Fault("step_h", request.step_h, f"gives over {MOST_POINTS} points", mend))
    for i, (before, after) in enumerate(pairwise(request.air)):
        if after.h <= before.h:
            mend = "Put the points in order of time, each hour once."
            faults.append(Fault(f"air_c.{i + 1}.h", after.h, "does not follow", mend))
    most = DRUM_BRIM_M3 * _properties(request).density_kg_m3
    if _net_kg(request) > most:
        problem = "does not go into a drum"
        if request.net_kg is None:
            problem = f"is missing, and the usual {_net_kg(request):g} kg do not go into a drum"
        mend = f"Give at most {math.floor(most * 10.0) / 10.0:g} kg."
        faults.append(Fault("net_kg", request.net_kg, problem, mend))
    if faults:
        raise Invalid("The forecast cannot be computed as asked.", faults)


def _properties(request: ForecastRequest) -> Properties:
    given = dict(request.properties or {})
    given.pop("kinematic_viscosity_m2_s", None)
    return replace(default_product(request.side).properties, **given)  # type: ignore[arg-type]


def _net_kg(request: ForecastRequest) -> float:
    return _properties(request).net_kg if request.net_kg is None else request.net_kg


def _liquid(request: ForecastRequest) -> Liquid:
    properties = _properties(request)
    films = request.exposure or exposure_of(
        motion=request.motion, standing=request.standing, share=request.share
    )
    steel = request.steel_kg
    if steel is None:
        steel = 0.0 if request.exposure is not None else DRUM_STEEL_KG
    return Liquid(
        mass_kg=np.array([_net_kg(request)]),
        tables=_table(request, properties)[None],
        number=np.zeros(1, dtype=np.intp),
        side_w_m2k=np.array([films.side_w_m2k]),
        top_w_m2k=np.array([films.top_w_m2k]),
        bottom_w_m2k=np.array([films.bottom_w_m2k]),
        steel_kg=np.array([steel]),
    )


def _table(request: ForecastRequest, properties: Properties) -> np.ndarray:
    """Properties by temperature; a figure that was given holds at every temperature."""
    given = request.properties or {}
    table = table_of(properties)
    for row, name in _GIVEN.items():
        if name in given:
            table[row] = given[name]
    nu = given.get("kinematic_viscosity_m2_s")
    if nu is not None:
        table[Row.LOG_VISCOSITY] = np.log(nu * table[Row.DENSITY])
    return table
