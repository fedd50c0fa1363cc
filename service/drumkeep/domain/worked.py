"""Worked examples: what the methods page draws, computed by what computes every drum."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air import PlaceAir
from drumkeep.domain.drum_past import DrumPast
from drumkeep.domain.events import DrumEvent, EventKind
from drumkeep.domain.forecasts import AirPoint, Forecast, ForecastRequest, forecast
from drumkeep.domain.grid import STEPS_PER_HOUR, moment_of
from drumkeep.domain.limits_used import properties_used
from drumkeep.domain.liquid import advance_drums
from drumkeep.domain.liquid_observed import depth_of, height_row
from drumkeep.domain.liquid_state import LiquidStates, band_at, likely_mean
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.products import Product, Side, default_product
from drumkeep.thermal.boundary import Setting, side_film
from drumkeep.thermal.constants import STANDARD_PRESSURE_KPA
from drumkeep.thermal.parameter_sets import LIKELY
from drumkeep.thermal.stratified import EIGHTHS

Floats = NDArray[np.float64]

HOURS: Final = 24.0
WARM_C: Final = 21.0
YARD_C: Final = -7.0
COLD_C: Final = 4.0
ROOM_C: Final = 29.0

FILM_AIR_C: Final = 25.0

DIP_AFTER_H: Final = 6
DIP_HOURS: Final = 12
DIP_OFF_K: Final = -0.5
"""What the dip of the example finds beside what was computed."""

SHED_C: Final = 2.0

_ISO: Final = default_product(Side.ISO)
_SENSOR_K: Final = 0.5
_PLACE: Final = 1


def cooling() -> Forecast:
    """Iso at 21 °C put on a pallet in still air of −7 °C, for a day."""
    return _stands(start_c=WARM_C, air_c=YARD_C, motion="still")


def warming() -> Forecast:
    """Iso at 4 °C put into a warm room of 29 °C with a fan, for a day."""
    return _stands(start_c=COLD_C, air_c=ROOM_C, motion="fan")


def _stands(*, start_c: float, air_c: float, motion: str) -> Forecast:
    return forecast(
        ForecastRequest(
            side=Side.ISO,
            start_c=(start_c,) * EIGHTHS,
            air=(AirPoint(0.0, air_c),),
            hours=HOURS,
            step_h=0.25,
            setting=Setting(motion=motion),
        )
    )


def side_films(differences_k: Floats, *, motions: Sequence[str]) -> dict[str, Floats]:
    """Film of a bare side, W/(m² K), by how much colder than air of 25 °C it is, K."""
    return {
        motion: np.asarray(
            side_film(
                Setting(motion=motion),
                surface_c=FILM_AIR_C - differences_k,
                air_c=np.full_like(differences_k, FILM_AIR_C),
            )
        )
        for motion in motions
    }


def viscosities(at_c: Floats, *, products: Mapping[str, Product]) -> dict[str, Floats]:
    """Viscosity, Pa s, of products by name at temperatures, °C."""
    found = {}
    for name, product in products.items():
        used = {p.name: p for p in properties_used(product, at_c=at_c.tolist())}
        found[name] = np.array(used["viscosity"].values)
    return found


@dataclass(frozen=True)
class Dip:
    """A drum's band over hours without a dip, and with one from ``after_h`` on; °C, (time,).

    ``measured_c`` is what the dip at the bottom found, ``computed_c`` what was computed there.
    """

    h: Floats
    low_c: Floats
    high_c: Floats
    after_h: Floats
    after_low_c: Floats
    after_high_c: Floats
    measured_c: float
    computed_c: float


def dip() -> Dip:
    """Iso measured at 21 °C when it came, put into air of 2 °C, dipped at the bottom after 6 h."""
    at = DIP_AFTER_H * STEPS_PER_HOUR
    receipt = _event(EventKind.RECEIVED, step=0, data={"place": _PLACE, "liquid_c": WARM_C})
    before = _records([receipt])
    depth = depth_of(
        mass_kg=float(before[at]["mass_kg"][0]), density_kg_m3=_ISO.properties.density_kg_m3
    )
    height = 0.5 / EIGHTHS * depth
    row = height_row(height, depth_m=depth)
    computed = float(row @ before[at]["layers"][0, LIKELY])
    found = {"c": computed + DIP_OFF_K, "height_m": height}
    after = _records([receipt, _event(EventKind.DIPPED, step=at, data=found)], first=at)
    steps, later = np.array(list(before)), np.array(list(after))
    low, high = np.array([_band(before[step], step=step) for step in before]).T
    after_low, after_high = np.array([_band(after[step], step=step) for step in after]).T
    return Dip(
        h=steps / STEPS_PER_HOUR,
        low_c=low,
        high_c=high,
        after_h=later / STEPS_PER_HOUR,
        after_low_c=after_low,
        after_high_c=after_high,
        measured_c=found["c"],
        computed_c=computed,
    )


def _records(events: Sequence[DrumEvent], *, first: int = 0) -> dict[int, LiquidStates]:
    """Return a drum's record every half hour from a step on, the first after that step's events."""
    last = DIP_HOURS * STEPS_PER_HOUR
    places = {_PLACE: _shed(last)}
    past = DrumPast(key=0, product=_ISO, events=events, start=0)
    found = {first: advance_drums([past], places=places, until=first).states}
    done = advance_drums([past], places=places, until=last)
    found |= {c.step: c.states for c in done.checkpoints if c.step > first}
    return {**found, last: done.states}


def _event(kind: EventKind, *, step: int, data: dict[str, float]) -> DrumEvent:
    at = moment_of(step)
    return DrumEvent(id=UUID(int=step), kind=kind, at=at, recorded_at=at, data=data)


def _shed(last: int) -> PlaceHeat:
    """Return a place in still air of 2 °C with one sensor, always heard."""
    air = np.full(last + 1, SHED_C)
    known = np.ones(last + 1, dtype=np.bool_)
    told = PlaceAir(
        first=0,
        likely=air,
        low=air,
        high=air,
        known=known,
        supported=known,
        supported_to_ms=None,
        error_k=np.full(last + 1, _SENSOR_K),
    )
    return PlaceHeat(air=told, setting=Setting(), site_kpa=STANDARD_PRESSURE_KPA)


def _band(states: LiquidStates, *, step: int) -> tuple[float, float]:
    drive = np.abs(SHED_C - likely_mean(states))
    band = band_at(states, step=step, sensor_error_k=_SENSOR_K, drive_k=drive)
    return float(band.bottom_low[0]), float(band.bottom_high[0])
