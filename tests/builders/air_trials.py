"""Try the look ahead on years of air: what was said at many times, and what then came.

Air: the typical years outdoors; a shed that follows them with a lag and some noise; a warm room on
a thermostat whose doors are opened. What came of a drum: the layer model under the air that came,
with film, viscosity, conductivity, heat capacity and expansion drawn from their stated ranges. No
measured curve of a drum is public; so this tries the air and the ranges, and not the model.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air import PlaceAir, place_air
from drumkeep.domain.air_ahead import PER_HOUR, STRIDE, AirAhead, AirClues, air_ahead
from drumkeep.domain.air_habits import LEARNED_DAYS, USUAL_DAYS, AirHabit, habit_of
from drumkeep.domain.grid import STEP_MS, STEP_SECONDS, STEPS_PER_HOUR
from drumkeep.domain.liquid_state import LiquidStates, empty_states
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.outlook import (
    READY_HOURS,
    Prospect,
    Way,
    first_below,
    first_perhaps_within,
    first_within,
)
from drumkeep.domain.places import DEFAULT_MOTION, DEFAULT_STANDING, PlaceKind
from drumkeep.domain.products import OutputClass, Product, Side, default_product
from drumkeep.domain.sensor_series import SensorSeries
from drumkeep.thermal.band import Band
from drumkeep.thermal.boundary import Setting
from drumkeep.thermal.drive import HOURS as RING_HOURS
from drumkeep.thermal.parameter_sets import NAMED_SETTING, SETS, Spread
from drumkeep.thermal.properties import Row
from tests.builders.weather import HOURS, typical_year

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
Flags = NDArray[np.bool_]

BEFORE_H: Final = 48
"""A drum is known (measured) so long before it is looked ahead for."""

FIRST_H: Final = 24 * (LEARNED_DAYS + USUAL_DAYS)
LAST_H: Final = HOURS - READY_HOURS - 2

SHED_LAG_H: Final = 12.0
SHED_NOISE_K: Final = 0.3
ROOM_SET_C: Final = 27.0
SENSOR_K: Final = 0.5
FILLS_KG: Final = {Side.ISO: (250.0, 125.0, 50.0), Side.RESIN: (227.0, 110.0, 45.0)}

AT_A_TIME: Final = sum(len(fills) for fills in FILLS_KG.values())
"""Drums that are looked ahead for at each time of the year."""


@dataclass(frozen=True)
class Ground:
    """A kind of place and a year of its air every five minutes from the first full hour, °C."""

    name: str
    kind: PlaceKind
    air_c: Floats
    set_point_c: float | None = None

    @property
    def heat(self) -> PlaceHeat:
        """The place as the liquid feels it; its air is given to each drum by itself."""
        return PlaceHeat(
            air=_air(self, hour=0, back_h=0),
            setting=Setting(motion=DEFAULT_MOTION[self.kind], standing=DEFAULT_STANDING[self.kind]),
            site_kpa=101.325,
        )

    def quarters(self, start_h: int, hours: int) -> Floats:
        """Air every quarter of an hour from an hour of the year on."""
        first = start_h * STEPS_PER_HOUR
        return self.air_c[first : first + hours * STEPS_PER_HOUR + 1 : STRIDE]

    def hourly(self) -> Floats:
        """Means of the hours of the year."""
        whole = len(self.air_c) // STEPS_PER_HOUR * STEPS_PER_HOUR
        return np.asarray(self.air_c[:whole].reshape(-1, STEPS_PER_HOUR).mean(axis=1))


@cache
def outdoors(year: str) -> Ground:
    """Give the yard of a typical year: straight lines between the hours."""
    steps = np.arange((HOURS - 1) * STEPS_PER_HOUR + 1) / STEPS_PER_HOUR
    air = np.interp(steps, np.arange(HOURS), typical_year(year))
    return Ground(f"yard, {year}", PlaceKind.YARD, air)


@cache
def shed(year: str, *, lag_h: float = SHED_LAG_H) -> Ground:
    """Give an unheated shed: first order behind the outdoors, with noise that lasts an hour."""
    noise = np.random.default_rng(20260)
    keep = np.exp(-1.0 / (lag_h * STEPS_PER_HOUR))
    stays = np.exp(-1.0 / STEPS_PER_HOUR)
    outside = outdoors(year).air_c
    kicks = noise.normal(size=len(outside)) * SHED_NOISE_K * np.sqrt(1.0 - stays**2)
    air = np.empty_like(outside)
    inside, swing = outside[: 24 * STEPS_PER_HOUR].mean(), 0.0
    for i, out in enumerate(outside):
        inside = out + (inside - out) * keep
        swing = swing * stays + kicks[i]
        air[i] = inside + swing
    return Ground(f"shed lagging {lag_h:g} h, {year}", PlaceKind.WAREHOUSE, air)


@cache
def warm_room(year: str) -> Ground:
    """Give a warm room in the shed: on below 0.5 K under its set point, off 0.5 K over it.

    It loses heat to the shed with a time constant of 8 h, the heater brings 8 K in an hour, and six
    times between 6 and 18 h the door stands open for a quarter of an hour (time constant 1.2 h).
    """
    chance = np.random.default_rng(20261)
    around = shed(year).air_c
    air = np.empty_like(around)
    inside, heating, open_until = ROOM_SET_C, True, -1
    for i, out in enumerate(around):
        hour = i / STEPS_PER_HOUR % 24.0
        if 6.0 <= hour < 18.0 and chance.random() < 0.5 / STEPS_PER_HOUR:
            open_until = i + 3
        tau_h = 1.2 if i < open_until else 8.0
        inside = out + (inside - out) * np.exp(-1.0 / (tau_h * STEPS_PER_HOUR))
        inside += 8.0 / STEPS_PER_HOUR if heating else 0.0
        heating = inside < ROOM_SET_C + (0.5 if heating else -0.5)
        air[i] = inside
    return Ground(f"warm room, {year}", PlaceKind.WARM_ROOM, air, ROOM_SET_C)


def origins(count: int) -> list[int]:
    """Return hours of the year, spread over it and over the hours of the day."""
    return [round(h) for h in np.linspace(FIRST_H, LAST_H, count)]


def habit_at(ground: Ground, hour: int) -> AirHabit:
    """Return what the place had taught by an hour of the year."""
    first = hour - FIRST_H
    return habit_of(
        ground.hourly()[first:hour],
        first_hour=first,
        kind=ground.kind,
        set_point_c=ground.set_point_c,
    )


def said_at(ground: Ground, hour: int, *, habit: AirHabit | None = None) -> AirAhead:
    """Return the air to come as it would have been said at an hour of the year."""
    return air_ahead(
        kind=ground.kind,
        set_point_c=ground.set_point_c,
        air=_air(ground, hour=hour, back_h=24),
        clues=AirClues(habit=habit or habit_at(ground, hour)),
        now_step=hour * STEPS_PER_HOUR,
        hours=READY_HOURS,
    )


def _air(ground: Ground, *, hour: int, back_h: int) -> PlaceAir:
    """Return the air of the hours before an hour of the year, as a sensor tells it."""
    last = hour * STEPS_PER_HOUR
    first = last - back_h * STEPS_PER_HOUR
    series = SensorSeries(
        ts_ms=np.arange(first, last + 1, dtype=np.int64) * STEP_MS,
        value_c=ground.air_c[first : last + 1],
        interval_s=float(STEP_SECONDS),
        error_k=SENSOR_K,
    )
    return place_air([series], kind=ground.kind, first=first, last=last, extremes=lambda _ms: None)


@dataclass(frozen=True)
class AirTrial:
    """Errors of the air, K, by hours ahead: shape (time, origin); and the half-width said."""

    error_k: Floats
    off_k: Floats

    @property
    def covered(self) -> Floats:
        """Share within the band, by time."""
        return np.asarray((np.abs(self.error_k) <= self.off_k + 1e-9).mean(axis=1))


def try_air(ground: Ground, hours: Sequence[int]) -> AirTrial:
    """Compare what was said at hours of the year with what came."""
    said = [said_at(ground, hour) for hour in hours]
    came = np.stack([ground.quarters(hour, READY_HOURS) for hour in hours], axis=-1)
    likely = np.stack([a.likely for a in said], axis=-1)
    off = np.stack([0.5 * (a.high - a.low) for a in said], axis=-1)
    return AirTrial(error_k=came - likely, off_k=off)


@dataclass(frozen=True)
class ReadyTrial:
    """When drums were said to be ready, and when three draws of each were.

    Quarters of hours, −1 for never: ``said_from`` at the earliest and ``said_at`` at the latest,
    shape (drum,); ``came``, shape (3, drum).
    """

    said_from: Indices
    said_at: Indices
    came: Indices

    @property
    def waiting(self) -> Flags:
        """Which were not ready at once, and became ready or were said to; (3, drum)."""
        return np.asarray((self.came != 0) & ((self.said_at >= 0) | (self.came > 0)))

    @property
    def times(self) -> int:
        """At how many times of the year any waited: drums of one time share their weather."""
        return len(np.unique(np.flatnonzero(self.waiting.any(axis=0)) // AT_A_TIME))

    @property
    def told(self) -> Flags:
        """Which of them were given a latest time; (3, drum)."""
        return np.asarray(self.waiting & (self.said_at >= 0))

    @property
    def covers(self) -> Flags:
        """Whether what came lay in what was said, (3, drum)."""
        never = np.iinfo(np.intp).max
        came, first, last = (
            np.where(values < 0, never, values)
            for values in (self.came, self.said_from, self.said_at)
        )
        return np.asarray((first <= came) & (came <= last))

    @property
    def width_h(self) -> Floats:
        """Hours between earliest and latest, of drums that were given both."""
        both = self.told.any(axis=0)
        return np.asarray((self.said_at - self.said_from)[both] / PER_HOUR)


@dataclass(frozen=True)
class DrumTrial:
    """What was said of drums and what came: three draws of what is not known for each.

    ``bottom_k`` (time, 3, drum) is the likely bottom minus the true one, ``covered`` whether the
    band held the true one. ``limit_said`` (drum,) and ``limit_came`` (3, drum) are the quarters of
    hours at which the bottom is first under the seeding limit, −1 for not within a day.
    """

    ready: Mapping[OutputClass, ReadyTrial]
    bottom_k: Floats
    covered: Flags
    limit_said: Indices
    limit_came: Indices

    @property
    def limit_off_h(self) -> Floats:
        """Hours by which the time to the limit was off, where it was met both ways."""
        both = (self.limit_said > 0) & (self.limit_came > 0)
        return np.asarray(np.abs(self.limit_said - self.limit_came)[both] / PER_HOUR)


def try_drums(before: Ground, after: Ground, hours: Sequence[int], *, seed: int) -> DrumTrial:
    """Look ahead for drums that stood in one place and from then on stand in another.

    Parameters
    ----------
    before, after
        Where they stood for two days, known at their beginning at the mean of the two days before,
        and where they stand then.
    hours
        Hours of the year at which they are looked ahead for.
    seed
        Of the draws.
    """
    products: list[Product] = []
    masses, ahead, begins, past, came = [], [], [], [], []
    for hour in hours:
        said = said_at(after, hour)
        start = hour - BEFORE_H
        mean = before.quarters(start - BEFORE_H, BEFORE_H).mean()
        for side, fills in FILLS_KG.items():
            for kg in fills:
                products.append(default_product(side))
                masses.append(kg)
                ahead.append(said)
                begins.append(mean)
                past.append(before.quarters(start, BEFORE_H))
                came.append(after.quarters(hour, READY_HOURS))
    mass = np.array(masses)
    states = empty_states(len(mass))
    states["alive"] = states["resolved"] = True
    states["mass_kg"] = mass
    states["layers"] = np.array(begins)[:, None, None]
    draws = _Draws(np.random.default_rng(seed), (SETS, len(mass)))
    earlier, later = (np.repeat(np.stack(a, axis=-1)[:, None], SETS, axis=1) for a in (past, came))

    def prospect(place: Ground, states: LiquidStates) -> Prospect:
        return Prospect(
            states=states,
            products=products,
            heats=[place.heat] * len(mass),
            ahead=ahead,
            share=np.ones(len(mass)),
            step=0,
        )

    true = states.copy()
    computed = Way(prospect(before, states)).layers(earlier)
    states["layers"] = np.moveaxis(computed[-1], 0, 1)
    states["ring"] = _ring(computed, earlier)
    true["layers"] = np.moveaxis(draws.way(prospect(before, true)).layers(earlier)[-1], 0, 1)
    became = draws.way(prospect(after, true)).layers(later)
    return _compare(prospect(after, states), became=became)


def _compare(prospect: Prospect, *, became: Floats) -> DrumTrial:
    likely = prospect.course(hours=24, pessimist=False)
    slow = prospect.course(hours=READY_HOURS, pessimist=True)
    limit = np.array([p.limits.seed_c for p in prospect.products])
    bottom = became[..., 0]
    cold = bottom[: len(likely.seconds)] < limit
    return DrumTrial(
        ready={
            output: _ready(slow.band, became, products=prospect.products, output=output)
            for output in OutputClass
        },
        bottom_k=likely.band.bottom[:, None, :] - bottom[: len(likely.seconds)],
        covered=np.asarray(
            (bottom >= slow.band.bottom_low[:, None, :])
            & (bottom <= slow.band.bottom_high[:, None, :])
        ),
        limit_said=first_below(replace(likely.band, bottom_low=likely.band.bottom), limit_c=limit),
        limit_came=np.where(cold.any(axis=0), cold.argmax(axis=0), -1),
    )


def _ready(
    band: Band, became: Floats, *, products: Sequence[Product], output: OutputClass
) -> ReadyTrial:
    low, high = (np.array([p.limits.use_band(output)[end] for p in products]) for end in (0, 1))
    ready = (became[..., 0] >= low) & (became[..., -1] <= high)
    return ReadyTrial(
        said_from=first_perhaps_within(band, low_c=low, high_c=high),
        said_at=first_within(band, low_c=low, high_c=high),
        came=np.where(ready.any(axis=0), ready.argmax(axis=0), -1),
    )


def _ring(layers_c: Floats, air_c: Floats) -> Floats:
    """Hourly maxima of |air − mean| over the last hours, as a drum's record keeps them."""
    apart = np.abs(air_c - layers_c.mean(axis=-1)).max(axis=1)[-RING_HOURS * PER_HOUR :]
    return np.asarray(apart.reshape(RING_HOURS, PER_HOUR, -1).max(axis=1).T)


class _Draws:
    """Factors of what is not known, evenly over the logarithms of their stated ranges."""

    def __init__(self, chance: np.random.Generator, shape: tuple[int, int]) -> None:
        spread: Spread = NAMED_SETTING
        self._factor = {
            name: getattr(spread, name) ** chance.uniform(-1.0, 1.0, shape)
            for name in ("film", "specific_heat", "conductivity", "expansion", "viscosity")
        }

    def way(self, prospect: Prospect) -> Way:
        """Return the way of three drawn liquids each, under one drawn film."""
        factor = self._factor
        way = Way(prospect)
        likely = prospect.likely
        shape = factor["viscosity"].shape
        tables = np.stack([likely.tables[likely.number]] * SETS)
        tables[:, :, Row.SPECIFIC_HEAT] *= factor["specific_heat"][..., None]
        tables[:, :, Row.CONDUCTIVITY] *= factor["conductivity"][..., None]
        tables[:, :, Row.EXPANSION] *= factor["expansion"][..., None]
        tables[:, :, Row.VISCOSITY] *= factor["viscosity"][..., None]
        way.liquid = replace(
            way.liquid,
            tables=tables.reshape(-1, *tables.shape[2:]),
            number=np.arange(tables[..., 0, 0].size, dtype=np.intp).reshape(shape),
            bottom_w_m2k=likely.bottom_w_m2k * factor["film"],
        )
        way.factor = factor["film"][0]
        way.half_range = np.ones(shape[1])
        return way
