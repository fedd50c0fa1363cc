"""What lies ahead of each drum: the same liquid model under the air to come.

Alarms look at the likely air; "ready at" takes the slow case: the slow set in the coldest air of
the band, the fast one in the hottest. A start that is in doubt stays in the band until it has faded
as it does in the present.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air_ahead import PER_HOUR, STRIDE, AirAhead
from drumkeep.domain.film import film_at
from drumkeep.domain.grid import STEP_SECONDS, STEPS_PER_HOUR
from drumkeep.domain.liquid_films import Faced, Films
from drumkeep.domain.liquid_heaters import blanket_r, heat_w
from drumkeep.domain.liquid_state import LiquidStates, sets_first
from drumkeep.domain.liquid_surroundings import PlaceHeat, doubt_seconds, liquid_of
from drumkeep.domain.products import Product
from drumkeep.thermal.band import Band, held_within
from drumkeep.thermal.drive import drive_of
from drumkeep.thermal.march import Course, course_of, layers_over_time
from drumkeep.thermal.parameter_sets import (
    FAST,
    LIKELY,
    NAMED_SETTING,
    SETS,
    SLOW,
    apart,
    spread_out,
)
from drumkeep.thermal.stratified import Liquid, advance

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

STEP_S: Final = float(STRIDE * STEP_SECONDS)
ALARM_HOURS: Final = 12
READY_HOURS: Final = 96

_LEG: Final = PER_HOUR
"""Forecast steps over which the films stay: in an hour they move by less than their spread."""

_DAY_STEPS: Final = 24 * STEPS_PER_HOUR

_Item = TypeVar("_Item")


@dataclass(frozen=True)
class Prospect:
    """Drums in some place each, for a look ahead: arrays over drums.

    Attributes
    ----------
    states, products, share
        The drums at the grid step ``step``.
    heats, ahead
        The place of each, at least the day up to ``step``, and its air to come.
    step
        Grid step of the present.
    delay
        Forecast steps from the present to where each drum's look begins; its air begins there.
    """

    states: LiquidStates
    products: Sequence[Product]
    heats: Sequence[PlaceHeat]
    ahead: Sequence[AirAhead]
    share: Floats
    step: int
    delay: Indices | int = 0

    @cached_property
    def likely(self) -> Liquid:
        """The likely liquid and films of each drum, as they are in force now."""
        return liquid_of(
            self.products,
            mass_kg=self.states["mass_kg"],
            films=[heat.films_at(self.step) for heat in self.heats],
            share=self.share,
        )

    def doubt_after(self, seconds: Floats) -> Floats:
        """Return what is left of each drum's doubt later, K, shape (time, drum)."""
        left = np.exp(-seconds[:, None] / doubt_seconds(self.likely))
        return np.asarray(self.states["doubt_k"] * left, dtype=np.float64)

    def course(self, *, hours: int, pessimist: bool) -> Course:
        """March all drums ahead.

        Parameters
        ----------
        hours
            How far.
        pessimist
            Give the slow set the coldest and the fast set the hottest plausible air, instead of
            the likely air to all.
        """
        air = self._air(hours * PER_HOUR + 1, pessimist=pessimist)
        way = Way(self)
        found = course_of(
            way.layers(air),
            air_c=air,
            drive_k=drive_of(self.states["ring"]),
            sensor_error_k=np.array([a.error_k for a in self.ahead]),
            step_s=STEP_S,
        )
        wide = np.abs((found.layers_c[:, FAST] - found.layers_c[:, SLOW]).mean(axis=-1))
        hidden = 0.5 * np.maximum(self.doubt_after(found.seconds) - wide, 0.0)
        band = _wider(found.band, by_k=hidden)
        return replace(found, band=way.possible(band, air_c=air))

    def _air(self, count: int, *, pessimist: bool) -> Floats:
        """Air of each set and drum, °C, shape (time, 3, drum)."""
        airs, at = _unique(self.ahead)

        def spread(name: str) -> Floats:
            return np.stack([getattr(air, name)[:count] for air in airs], axis=-1)[:, at]

        likely = spread("likely")
        likely = np.where(np.isfinite(likely), likely, self.states["layers"].mean(axis=(1, 2)))
        if not pessimist:
            return np.repeat(likely[:, None, :], SETS, axis=1)
        low, high = spread("low"), spread("high")
        # what drives a drum now is known; the band is of what comes
        low[0] = high[0] = likely[0]
        return np.stack([low, likely, high], axis=1)


class Way:
    """The way of drums through their air: films and sun by the hour, heaters by the step.

    ``liquid`` is that of the three sets; ``factor`` is on the likely films, ``half_range`` what the
    sets' differ by; each of shape (drum,).
    """

    def __init__(self, prospect: Prospect) -> None:
        self.prospect = prospect
        heats, self.at = _unique(prospect.heats)
        step = prospect.step
        first = max(step - _DAY_STEPS, *(heat.air.first for heat in heats))
        self.films = Films([heat.ahead() for heat in heats], first=first, last=step)
        film = [film_at(heat.film, step=step) for heat in heats]
        self.factor = np.array([f.factor for f in film], dtype=np.float64)[self.at]
        self.half_range = np.array([f.half_range for f in film], dtype=np.float64)[self.at]
        self.liquid = spread_out(
            prospect.likely, spread=replace(NAMED_SETTING, film=self.half_range)
        )
        floor = [np.nan if h.floor is None else float(h.floor.likely[-1]) for h in heats]
        self.floor_c = np.array(floor, dtype=np.float64)[self.at]
        share = np.array([h.films.floor_share for h in heats], dtype=np.float64)[self.at]
        self.floor_share = np.where(np.isfinite(self.floor_c), share, 0.0)

    def layers(self, air_c: Floats) -> Floats:
        """Return the layers at every forecast step, °C, shape (time, 3, drum, layer)."""
        start = sets_first(self.prospect.states)
        found = np.empty((len(air_c), *start.shape))
        found[0] = start
        for first in range(0, len(air_c) - 1, _LEG):
            span = slice(first, min(first + _LEG, len(air_c) - 1) + 1)
            found[span] = self._leg(found[first], air_c[span], first=first)
        return found

    def possible(self, band: Band, *, air_c: Floats) -> Band:
        """Cut the band to what it is now and the air and floor to come allow.

        Sun and the night sky make a face hotter or colder than the air, and a heater the liquid:
        there nothing is cut.
        """
        error = np.array([ahead.error_k for ahead in self.prospect.ahead])
        coldest = np.fmin(air_c.min(axis=1), self.floor_c) - error
        hottest = np.fmax(air_c.max(axis=1), self.floor_c) + error
        states = self.prospect.states
        lit = self.films.sunny[self.at]
        heated = (self._grid(0) < states["heat_until"]) & (states["heat_w"] > 0.0)
        coldest = np.minimum(np.minimum.accumulate(coldest), band.low[0])
        hottest = np.maximum(np.maximum.accumulate(hottest), band.high[0])
        return held_within(
            band,
            coldest_c=np.where(lit, -np.inf, coldest),
            hottest_c=np.where(lit | heated, np.inf, hottest),
        )

    def _leg(self, layers_c: Floats, air_c: Floats, *, first: int) -> Floats:
        """March over an hour or less; a heater's thermostat looks every five minutes."""
        faced = self._faced(layers_c, air_c, first=first)
        liquid = replace(
            self.liquid,
            side_w_m2k=apart(faced[0].side_w_m2k, self.half_range),
            top_w_m2k=apart(faced[0].top_w_m2k, self.half_range),
        )
        side, top = (np.stack([getattr(f, name) for f in faced]) for name in ("side_c", "top_c"))
        floor = air_c + self.floor_share * (np.nan_to_num(self.floor_c) - air_c)
        states = self.prospect.states
        heated = (self._grid(first) < states["heat_until"]) & (states["heat_w"] > 0.0)
        if not heated.any():
            return layers_over_time(
                layers_c, liquid=liquid, side_c=side, top_c=top, floor_c=floor, step_s=STEP_S
            )
        found = [layers_c]
        record = states.copy()
        for i in range(len(air_c) - 1):
            layers = found[-1]
            for piece in range(STRIDE):
                record["layers"] = np.moveaxis(layers, 0, 1)
                step = self._grid(first + i) + piece
                layers = advance(
                    layers,
                    liquid=liquid,
                    side_c=0.5 * (side[i] + side[i + 1]),
                    top_c=0.5 * (top[i] + top[i + 1]),
                    floor_c=0.5 * (floor[i] + floor[i + 1]),
                    heat_w=heat_w(record, liquid=liquid, step=step),
                    seconds=float(STEP_SECONDS),
                )
            found.append(layers)
        return np.stack(found)

    def _faced(self, layers_c: Floats, air_c: Floats, *, first: int) -> list[Faced]:
        """Return what the drums face at each step: films of the first, sun of each."""
        mean = layers_c[LIKELY].mean(axis=-1)
        over = {
            "at": self.at,
            "mean_c": mean,
            "share": self.prospect.share,
            "factor": self.factor,
            "blanket_r": blanket_r(self.prospect.states, step=self._grid(first)),
        }
        one = self.films.over(self._yesterday(first), air_c=air_c.mean(axis=0), **over)
        if not self.films.sunny.any():
            return [replace(one, side_c=air, top_c=air) for air in air_c]
        found = [
            self.films.over(self._yesterday(first + i), air_c=air, **over)
            for i, air in enumerate(air_c)
        ]
        # under a roof the same as if no other drum stood in the sun
        lit = self.films.sunny[self.at]
        found[0] = replace(
            found[0],
            side_w_m2k=np.where(lit, found[0].side_w_m2k, one.side_w_m2k),
            top_w_m2k=np.where(lit, found[0].top_w_m2k, one.top_w_m2k),
        )
        return found

    def _grid(self, index: int) -> Indices:
        """Grid step of each drum at a forecast step."""
        return np.asarray(self.prospect.step + (index + self.prospect.delay) * STRIDE)

    def _yesterday(self, index: int) -> int:
        """Grid step of the last day at the hour of a forecast step: the sun is as it was then."""
        span = self.prospect.step - self.films.first
        return self.films.first + (index * STRIDE) % span if span else self.films.first


def _unique(items: Sequence[_Item]) -> tuple[list[_Item], Indices]:
    """Return what differs, and which of it each item is: places are few and drums many."""
    kept: dict[int, _Item] = {id(item): item for item in items}
    column = {key: number for number, key in enumerate(kept)}
    return list(kept.values()), np.array([column[id(item)] for item in items], dtype=np.intp)


def _wider(band: Band, *, by_k: Floats) -> Band:
    lower = {name: getattr(band, name) - by_k for name in ("bottom_low", "mean_low", "top_low")}
    upper = {name: getattr(band, name) + by_k for name in ("bottom_high", "mean_high", "top_high")}
    return replace(band, **lower, **upper)


def first_within(band: Band, *, low_c: Floats, high_c: Floats) -> NDArray[np.intp]:
    """Index of the first time at which the whole band lies inside; −1 where it never does.

    Parameters
    ----------
    band
        Arrays of shape (time, drum).
    low_c, high_c
        The use band of each drum, °C, shape (drum,).
    """
    inside = (band.low >= low_c) & (band.high <= high_c)
    return np.where(inside.any(axis=0), inside.argmax(axis=0), -1)


def first_perhaps_within(band: Band, *, low_c: Floats, high_c: Floats) -> NDArray[np.intp]:
    """Index of the first time at which all liquid may lie inside; −1 where it never may."""
    inside = (band.bottom_high >= low_c) & (band.top_low <= high_c)
    return np.where(inside.any(axis=0), inside.argmax(axis=0), -1)


def mixed_within(band: Band, *, low_c: Floats, high_c: Floats) -> NDArray[np.intp]:
    """Index of the first time at which the mean's band lies inside: ready once mixed."""
    inside = (band.mean_low >= low_c) & (band.mean_high <= high_c)
    return np.where(inside.any(axis=0), inside.argmax(axis=0), -1)


def first_below(band: Band, *, limit_c: Floats) -> NDArray[np.intp]:
    """Index of the first time the low bottom is under the limit; −1 where never."""
    under = band.bottom_low < limit_c
    return np.where(under.any(axis=0), under.argmax(axis=0), -1)


def steps_below(band: Band, *, limit_c: Floats) -> NDArray[np.intp]:
    """How many of the 15-minute steps the low bottom is under the limit."""
    return np.asarray((band.bottom_low < limit_c).sum(axis=0), dtype=np.intp)
