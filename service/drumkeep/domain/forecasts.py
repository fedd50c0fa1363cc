"""What-if: one drum, given air ahead, nothing stored."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Final

import numpy as np

from drumkeep.domain.forecast_ranges import film_warnings, layer_warnings, property_warnings
from drumkeep.domain.liquid_surroundings import table_of
from drumkeep.domain.products import Properties, Side, default_product
from drumkeep.domain.sun import DEFAULT_ABSORPTANCE, facing_sun, given_sun
from drumkeep.errors import Fault, Invalid
from drumkeep.thermal.band import Band, held_within
from drumkeep.thermal.boundary import (
    FLOOR_SHARE,
    Exposure,
    Setting,
    exposure,
    lid_film,
    side_film,
)
from drumkeep.thermal.constants import DRUM_BRIM_M3, DRUM_STEEL_KG
from drumkeep.thermal.film_table import WALL_SHARE
from drumkeep.thermal.march import Course, Reach, likely_layers, march, reach_of
from drumkeep.thermal.parameter_sets import (
    GIVEN_EXPOSURE,
    NAMED_SETTING,
    SETS,
    Spread,
    spread_out,
)
from drumkeep.thermal.properties import NODES_C, REFERENCE_C, Row
from drumkeep.thermal.solids import solid_course
from drumkeep.thermal.stratified import EIGHTHS, LAYERS, Liquid, eighths

STEP_S: Final = 300.0
LEAST_HOURS: Final = 0.08
"""A little under the step, so that whoever writes 0.083 for five minutes is understood."""

MOST_HOURS: Final = 24.0 * 31
MOST_POINTS: Final = 2000

_FILM_ROUNDS: Final = 2
"""The films follow from the course and the course from the films: a second round moves it by less
than a tenth of the band."""

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
class SunPoint:
    """Global irradiance of the level at an hour from the start, W/m²."""

    h: float
    w_m2: float


@dataclass(frozen=True)
class ForecastRequest:
    """The body of ``POST /api/v1/forecasts`` and of ``drumkeep forecast FILE``, checked.

    Films come from ``exposure`` as numbers, else from ``setting`` by correlations.
    """

    side: Side
    start_c: tuple[float, ...]
    air: tuple[AirPoint, ...]
    net_kg: float | None = None
    hours: float = 48.0
    step_h: float = 0.5
    exposure: Exposure | None = None
    setting: Setting = field(default_factory=Setting)
    floor_c: float | None = None
    sun: tuple[SunPoint, ...] = ()
    absorptance: float = DEFAULT_ABSORPTANCE
    flow: str = "free"
    steel_kg: float | None = None
    properties: Mapping[str, float] | None = None
    targets_c: Sequence[float] = ()


@dataclass(frozen=True)
class Forecast:
    """Temperatures (°C) at each hour; ``layers_c[time][layer]``, bottom first.

    ``warnings`` say which correlation or property was used beyond its range.
    """

    h: list[float]
    bottom_c: list[float]
    mean_c: list[float]
    top_c: list[float]
    layers_c: list[list[float]]
    low_c: list[float]
    high_c: list[float]
    reach: list[Reach]
    warnings: list[str]


@dataclass(frozen=True)
class _Outside:
    """What the drum faces at the grid's hours: °C and W/m² of the level, shape (time,)."""

    air_c: np.ndarray
    floor_c: np.ndarray
    sun_w_m2: np.ndarray | None


@dataclass(frozen=True)
class _Faces:
    """What side, top and bottom face, °C, shape (time, set, 1)."""

    side_c: np.ndarray
    top_c: np.ndarray
    floor_c: np.ndarray


def forecast(request: ForecastRequest) -> Forecast:
    """Compute the course of one drum.

    Raises
    ------
    Invalid
        When the request holds together field by field but not as a whole.
    """
    _check(request)
    steps = int(np.ceil(request.hours * 3600.0 / STEP_S - 1e-9))
    grid_h = np.arange(steps + 1) * (STEP_S / 3600.0)
    outside = _outside(request, grid_h=grid_h)
    if request.exposure is not None:
        liquid = _liquid(request, films=request.exposure)
        course = _course(request, liquid=liquid, faces=_shaded(outside), spread=GIVEN_EXPOSURE)
        warnings = []
    else:
        mean = np.full(len(grid_h), np.mean(request.start_c))
        for _ in range(_FILM_ROUNDS):
            liquid = _liquid(request, films=_films(request, outside=outside, mean_c=mean))
            faces = _in_the_sun(request, outside=outside, mean_c=mean)
            course = _course(request, liquid=liquid, faces=faces, spread=NAMED_SETTING)
            mean = course.band.mean[:, 0]
        warnings = film_warnings(request.setting, air_c=outside.air_c, mean_c=mean)
    layers = likely_layers(course)
    if request.flow == "free":
        warnings += layer_warnings(liquid, layers_c=layers)
    warnings += property_warnings(_properties(request), layers_c=layers)
    return _sampled(request, course=course, grid_h=grid_h, warnings=warnings)


def _outside(request: ForecastRequest, *, grid_h: np.ndarray) -> _Outside:
    air = np.interp(grid_h, [p.h for p in request.air], [p.c for p in request.air])
    below = air if request.floor_c is None else np.full(len(air), request.floor_c)
    share = FLOOR_SHARE[request.setting.standing]
    sun = None
    if request.sun:
        sun = np.interp(grid_h, [p.h for p in request.sun], [p.w_m2 for p in request.sun])
    return _Outside(air_c=air, floor_c=share * below + (1.0 - share) * air, sun_w_m2=sun)


def _films(request: ForecastRequest, *, outside: _Outside, mean_c: np.ndarray) -> Exposure:
    """Films of the setting at the means, over the course, of the air and of the liquid.

    One number for the course: along it they differ by less than the spread of the sets. The
    liquid's distance from the air is a mean of its size, so that day and night do not cancel.
    """
    air = float(outside.air_c.mean())
    apart = np.abs(mean_c - outside.air_c).mean() * np.sign((mean_c - outside.air_c).mean() or 1.0)
    return exposure(request.setting, surface_c=air + WALL_SHARE * float(apart), air_c=air)


def _shaded(outside: _Outside) -> _Faces:
    air = outside.air_c[:, None, None]
    return _Faces(side_c=air, top_c=air, floor_c=outside.floor_c[:, None, None])


def _in_the_sun(request: ForecastRequest, *, outside: _Outside, mean_c: np.ndarray) -> _Faces:
    if outside.sun_w_m2 is None:
        return _shaded(outside)
    sun = given_sun(outside.sun_w_m2)
    wall = outside.air_c + WALL_SHARE * (mean_c - outside.air_c)
    side, top = (
        facing_sun(
            np.broadcast_to(outside.air_c, (SETS, len(outside.air_c))),
            irradiance_w_m2=irradiance,
            mean_c=mean_c,
            absorptance=request.absorptance,
            film_w_m2k=film(request.setting, surface_c=wall, air_c=outside.air_c),
            faces_sky=sky,
        ).T[:, :, None]
        for film, irradiance, sky in (
            (side_film, sun.side_w_m2, 0.0),
            (lid_film, sun.top_w_m2, 1.0),
        )
    )
    return replace(_shaded(outside), side_c=side, top_c=top)


def _course(request: ForecastRequest, *, liquid: Liquid, faces: _Faces, spread: Spread) -> Course:
    given = np.repeat(np.asarray(request.start_c, dtype=np.float64), LAYERS // EIGHTHS)
    start = np.broadcast_to(given, (SETS, 1, LAYERS))
    sets = spread_out(liquid, spread=spread)
    if request.flow == "none":
        course = solid_course(
            start,
            liquid=sets,
            side_c=faces.side_c,
            top_c=faces.top_c,
            floor_c=faces.floor_c,
            step_s=STEP_S,
        )
    else:
        course = march(
            start,
            liquid=sets,
            air_c=faces.side_c,
            top_c=faces.top_c,
            floor_c=faces.floor_c,
            drive_k=np.zeros(1),
            step_s=STEP_S,
            mixed=request.flow == "mixed",
            start_known=True,
        )
    return replace(course, band=_possible(course.band, start_c=given, faces=faces))


def _possible(band: Band, *, start_c: np.ndarray, faces: _Faces) -> Band:
    """Cut the band to what the start and all that was faced so far allow: nothing heats here."""
    faced = (faces.side_c, faces.top_c, faces.floor_c)
    coldest = np.min([f.min(axis=1) for f in faced], axis=0)
    hottest = np.max([f.max(axis=1) for f in faced], axis=0)
    return held_within(
        band,
        coldest_c=np.minimum(np.minimum.accumulate(coldest), start_c.min()),
        hottest_c=np.maximum(np.maximum.accumulate(hottest), start_c.max()),
    )


def _sampled(
    request: ForecastRequest, *, course: Course, grid_h: np.ndarray, warnings: list[str]
) -> Forecast:
    count = int(np.floor(request.hours / request.step_h + 1e-9))
    hours = np.arange(count + 1) * request.step_h

    def at_hours(values: np.ndarray) -> list[float]:
        return [float(v) for v in np.interp(hours, grid_h, values)]

    band = course.band
    layers = eighths(likely_layers(course))
    sampled = [at_hours(layers[:, j]) for j in range(EIGHTHS)]
    return Forecast(
        h=[float(h) for h in hours],
        bottom_c=at_hours(band.bottom[:, 0]),
        mean_c=at_hours(band.mean[:, 0]),
        top_c=at_hours(band.top[:, 0]),
        layers_c=[[sampled[j][i] for j in range(EIGHTHS)] for i in range(len(hours))],
        low_c=at_hours(band.low[:, 0]),
        high_c=at_hours(band.high[:, 0]),
        reach=[reach_of(course, target_c=target) for target in request.targets_c],
        warnings=warnings,
    )


def _check(request: ForecastRequest) -> None:
    faults = []
    if request.step_h > request.hours:
        mend = f"Give a step of at most {request.hours:g} h."
        faults.append(Fault("step_h", request.step_h, "is longer than the forecast", mend))
    elif request.hours / request.step_h > MOST_POINTS:
        least = math.ceil(request.hours / MOST_POINTS * 1000.0) / 1000.0
        mend = f"Give a step of at least {least:g} h."
        faults.append(Fault("step_h", request.step_h, f"gives over {MOST_POINTS} points", mend))
    for name, points in (("air_c", request.air), ("setting.sun_w_m2", request.sun)):
        for i, (before, after) in enumerate(pairwise(point.h for point in points)):
            if after <= before:
                mend = "Put the points in order of time, each hour once."
                faults.append(Fault(f"{name}.{i + 1}.h", after, "does not follow", mend))
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


def _liquid(request: ForecastRequest, *, films: Exposure) -> Liquid:
    properties = _properties(request)
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
    if request.flow != "free":
        # One node and solids are exact for a depth that stays.
        table[Row.DENSITY] = np.interp(REFERENCE_C, NODES_C, table[Row.DENSITY])
    nu = given.get("kinematic_viscosity_m2_s")
    if nu is not None:
        table[Row.VISCOSITY] = nu * table[Row.DENSITY]
    return table
