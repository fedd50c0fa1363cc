"""Why a drum's band is as wide as it is, and which measurement would narrow it most.

The band's half-width is taken apart by leaving out one cause after another, so the parts add up to
it exactly. What a measurement would do is found by doing it: the very step that a dip takes, on a
copy of the drum, with a reading that says what was computed. The gain does not hang on what the
reading says, so that is the width to expect.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise
from typing import Final

import numpy as np

from drumkeep.domain.grid import STEP_SECONDS
from drumkeep.domain.liquid_beside import beside_of
from drumkeep.domain.liquid_measured import take
from drumkeep.domain.liquid_observed import (
    DIP_SIGMA_K,
    SKIN_SIGMA_K,
    Reading,
    depth_of,
    observe,
)
from drumkeep.domain.liquid_state import LiquidStates, band_at, likely_mean
from drumkeep.domain.liquid_surroundings import PlaceHeat, doubt_seconds, liquid_of
from drumkeep.domain.products import Product
from drumkeep.thermal.parameter_sets import LIKELY
from drumkeep.thermal.stratified import EIGHTHS, eighths

NEW_SENSOR_K: Final = 0.5
"""Error of a sensor that would be hung: that of a usual digital one, ±0.5 K by its data sheet."""

WORTH_K: Final = 0.1
"""A measurement that narrows the half-width by less is not worth walking for (our judgement)."""

_DAY_STEPS: Final = 86_400 // STEP_SECONDS
_ANY_C: Final = 15.0
"""What a dip of a drum of which nothing is known might find: its width does not hang on it."""


class Cause(StrEnum):
    """What a band is made of."""

    LAYERS = "layers"
    PROPERTIES = "properties_and_films"
    SENSORS = "air_sensors"
    MODEL = "model"
    DOUBT = "start_or_gap"


class Way(StrEnum):
    """What somebody could measure, or hang up to measure."""

    DIP_BOTTOM = "dip_bottom"
    DIP_MIDDLE = "dip_middle"
    DIP_TOP = "dip_top"
    SKIN = "skin"
    WEIGHING = "weighing"
    AIR_SENSOR = "air_sensor"
    HUMIDITY_SENSOR = "humidity_sensor"


DIPS: Final[Mapping[Way, float]] = {
    Way.DIP_BOTTOM: 0.5 / EIGHTHS,
    Way.DIP_MIDDLE: 0.5,
    Way.DIP_TOP: 1.0 - 0.5 / EIGHTHS,
}
"""Heights as a share of the depth: the middles of the lowest and the highest eighth, mid-depth."""


@dataclass(frozen=True)
class Width:
    """A band, °C, and what its half-width is made of, K; the parts add up to it."""

    low_c: float
    high_c: float
    parts: Mapping[Cause, float]

    @property
    def half_k(self) -> float:
        """Half of the band, K."""
        return 0.5 * (self.high_c - self.low_c)


@dataclass(frozen=True)
class Option:
    """A measurement and the band to expect after it, °C.

    ``height_m`` is where to dip, above the bottom. ``low_c`` and ``high_c`` are None where nothing
    is known of the liquid yet: it would then be known to ``half_k`` either way. ``day_later_k`` is
    the half-width after a day, for what does not tell at once.
    """

    way: Way
    half_k: float
    low_c: float | None = None
    high_c: float | None = None
    height_m: float | None = None
    day_later_k: float | None = None


@dataclass(frozen=True)
class Standing:
    """One drum as it stands: its record, shape (1,), and what is round it at a step."""

    states: LiquidStates
    product: Product
    share: float
    heat: PlaceHeat
    step: int

    @property
    def known(self) -> bool:
        """Whether anything is known of its liquid."""
        return bool(np.isfinite(self.states["layers"]).all())

    @property
    def air_c(self) -> float:
        """Likely air, °C; NaN where no sensor ever was."""
        return float(self.heat.air.window(first=self.step, last=self.step)[0])

    @property
    def depth_m(self) -> float:
        """How high the liquid stands, as heights of dips count in it."""
        return depth_of(
            mass_kg=float(self.states["mass_kg"][0]),
            density_kg_m3=self.product.properties.density_kg_m3,
        )


def width_of(standing: Standing, *, sensor_error_k: float | None = None) -> Width:
    """Return the band of a drum whose liquid is known, and what it is made of.

    Causes are left out in this order: the air sensors' error, the doubt of start and gaps, what
    slow and fast set are apart, the model's error. Of what the sets are apart the doubt has its
    share first, as much as it is; the rest is properties and films. Last stands the liquid itself:
    half of what top and bottom differ.

    Parameters
    ----------
    standing
        The drum.
    sensor_error_k
        Of the air sensors, K; those of its place where left out.
    """
    if sensor_error_k is None:
        sensor_error_k = standing.heat.air.error_at(standing.step)
    low, high = _band(standing.states, standing, sensor_error_k)
    bare = standing.states.copy()
    halves = [0.5 * (high - low), _half(bare, standing)]
    doubt = float(bare["doubt_k"][0])
    bare["doubt_k"] = 0.0
    halves.append(_half(bare, standing))
    layers = bare["layers"][0]
    layers[:] = layers[LIKELY]
    halves.append(_half(bare, standing))
    mean = float(layers[LIKELY].mean())
    bottom, top = _ends(bare)
    halves.append(0.5 * (max(top, mean) - min(bottom, mean)))
    sensors, hidden, apart, model = (a - b for a, b in pairwise(halves))
    shown = min(0.5 * doubt, apart)
    return Width(
        low_c=low,
        high_c=high,
        parts={
            Cause.LAYERS: halves[-1],
            Cause.PROPERTIES: apart - shown,
            Cause.DOUBT: hidden + shown,
            Cause.MODEL: model,
            Cause.SENSORS: sensors,
        },
    )


def options_of(standing: Standing, *, humidity_assumed: bool) -> tuple[Option, ...]:
    """Return what could be measured of a drum, what narrows its band most first.

    Parameters
    ----------
    standing
        The drum.
    humidity_assumed
        Whether no sensor tells the humidity round it.
    """
    if not standing.known:
        return (_begun(standing),)
    now = width_of(standing)
    found = [
        *(_dipped(standing, way) for way in DIPS),
        _measured(standing, Way.SKIN, Reading(c=0.0, sigma_k=SKIN_SIGMA_K, on_wall=True)),
        _unchanged(Way.WEIGHING, now),
        _sensed(standing, now),
    ]
    if humidity_assumed:
        found.append(_unchanged(Way.HUMIDITY_SENSOR, now))
    return tuple(sorted(found, key=lambda option: option.half_k))


def best_of(options: Sequence[Option], *, now: Width | None) -> Option | None:
    """Return the measurement that narrows a band most; None where none is worth it."""
    first = options[0] if options else None
    if first is None or now is None or now.half_k - first.half_k >= WORTH_K:
        return first
    return None


def _dipped(standing: Standing, way: Way) -> Option:
    height = DIPS[way] * standing.depth_m
    found = _measured(standing, way, Reading(c=0.0, sigma_k=DIP_SIGMA_K, height_m=height))
    return replace(found, height_m=height)


def _measured(standing: Standing, way: Way, reading: Reading) -> Option:
    """Measure a copy of the drum and find what was computed."""
    record = standing.states.copy()
    beside = beside_of(
        record,
        reading=reading,
        product=standing.product,
        share=standing.share,
        heat=standing.heat,
        step=standing.step,
    )
    seen = observe(reading, states=record, beside=beside)
    told = replace(reading, c=float(seen.of(record["layers"][0, LIKELY])))
    take(told, states=record, beside=beside)
    after = width_of(replace(standing, states=record))
    return Option(way=way, half_k=after.half_k, low_c=after.low_c, high_c=after.high_c)


def _begun(standing: Standing) -> Option:
    """Dip a drum of which nothing is known."""
    record = standing.states.copy()
    reading = Reading(c=_ANY_C, sigma_k=DIP_SIGMA_K)
    beside = beside_of(
        record,
        reading=reading,
        product=standing.product,
        share=standing.share,
        heat=standing.heat,
        step=standing.step,
    )
    take(reading, states=record, beside=beside)
    after = width_of(replace(standing, states=record))
    return Option(way=Way.DIP_MIDDLE, half_k=after.half_k, height_m=0.5 * standing.depth_m)


def _sensed(standing: Standing, now: Width) -> Option:
    """Hang a sensor: beside others it changes nothing; where none tells the air, doubt fades."""
    if standing.heat.air.supported_at(standing.step):
        return replace(_unchanged(Way.AIR_SENSOR, now), day_later_k=now.half_k)
    error_k = min(NEW_SENSOR_K, standing.heat.air.error_at(standing.step))
    after = width_of(standing, sensor_error_k=error_k)
    liquid = liquid_of(
        [standing.product],
        mass_kg=standing.states["mass_kg"],
        films=[standing.heat.films_at(standing.step)],
        share=np.array([standing.share]),
    )
    left = float(np.exp(-_DAY_STEPS * STEP_SECONDS / doubt_seconds(liquid)[0]))
    return Option(
        way=Way.AIR_SENSOR,
        half_k=after.half_k,
        low_c=after.low_c,
        high_c=after.high_c,
        day_later_k=after.half_k - (1.0 - left) * after.parts[Cause.DOUBT],
    )


def _unchanged(way: Way, now: Width) -> Option:
    return Option(way=way, half_k=now.half_k, low_c=now.low_c, high_c=now.high_c)


def _ends(states: LiquidStates) -> tuple[float, float]:
    likely = eighths(states["layers"][0, LIKELY])
    return float(likely[0]), float(likely[-1])


def _band(states: LiquidStates, standing: Standing, sensor_error_k: float) -> tuple[float, float]:
    drive = np.nan_to_num(np.abs(standing.air_c - likely_mean(states)))
    band = band_at(states, step=standing.step, sensor_error_k=sensor_error_k, drive_k=drive)
    return float(band.low[0]), float(band.high[0])


def _half(states: LiquidStates, standing: Standing) -> float:
    low, high = _band(states, standing, 0.0)
    return 0.5 * (high - low)
