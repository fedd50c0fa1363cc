"""Air to come at a place, with the band that its own past has taught.

A warm room goes back to its set point. Elsewhere the air takes its usual course of the day from
the level it has now, which fades into the usual one; in the open an uploaded forecast goes first
while it is fresh. Without a full day on record the last hours come again.
"""

from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air import NEVER_SEEN_HIGH_C, NEVER_SEEN_LOW_C, PlaceAir
from drumkeep.domain.air_forecasts import OutdoorForecast
from drumkeep.domain.air_habits import (
    LEADS_H,
    LEVEL_HOURS,
    OPEN_AIR_KINDS,
    PASSING_H,
    AirHabit,
    default_off_k,
    fading,
)
from drumkeep.domain.grid import STEP_MS, STEP_SECONDS, STEPS_PER_HOUR, moment_of
from drumkeep.domain.places import PlaceKind

Floats = NDArray[np.float64]

STRIDE: Final = 3
"""Grid steps in one forecast step: 15 minutes."""

PER_HOUR: Final = STEPS_PER_HOUR // STRIDE

_DAY_STEPS: Final = 24 * STEPS_PER_HOUR
_JUDGED_AT: Final = LEADS_H.index(24)
"""A forecast is used where it was surer than the usual day a day ahead."""


class AirBasis(StrEnum):
    """What the air to come rests on."""

    SET_POINT = "set_point"
    FORECAST = "forecast"
    USUAL_DAY = "usual_day"
    LAST_DAY = "last_day"
    NOTHING = "nothing"


@dataclass(frozen=True)
class AirClues:
    """What is known of a place's air beside its latest readings."""

    habit: AirHabit = field(default_factory=AirHabit)
    forecast: OutdoorForecast | None = None


@dataclass(frozen=True)
class AirAhead:
    """Air to come at a place every 15 minutes from now, °C.

    ``low`` and ``high`` are its band: at any one time nine in ten lie within. ``error_k`` is the
    sensors' own error, K. ``cases`` is the days (of forecasts: how many) that the band was tried
    on, 0 while it is the default; ``days`` those that a usual day is the mean of.
    """

    likely: Floats
    low: Floats
    high: Floats
    error_k: float
    basis: AirBasis
    cases: int = 0
    days: int = 0
    issued_at: datetime | None = None

    def later(self, start: int) -> "AirAhead":
        """Return the same from a later step on; the last value stays."""
        index = np.minimum(np.arange(len(self.likely)) + start, len(self.likely) - 1)
        return replace(self, likely=self.likely[index], low=self.low[index], high=self.high[index])


def air_ahead(
    *,
    kind: PlaceKind,
    set_point_c: float | None,
    air: PlaceAir,
    clues: AirClues,
    now_step: int,
    hours: int,
) -> AirAhead:
    """Return the air to come.

    Parameters
    ----------
    kind, set_point_c
        A warm room with a set point goes back to it.
    air
        The place's air, at least the 24 h up to ``now_step``; NaN where never known.
    clues
        The place's habit, and the newest forecast of its site.
    now_step
        Grid step of the present.
    hours
        How far to look.
    """
    leads_h = np.arange(hours * PER_HOUR + 1) / PER_HOUR
    day = air.window(first=max(now_step - _DAY_STEPS, air.first), last=now_step)
    look = _Look(kind, day, clues, now_step, leads_h, _age_h(air, now_step))
    if kind is PlaceKind.WARM_ROOM and set_point_c is not None:
        found = look.warm_room(set_point_c)
    elif not np.isfinite(day[-1]):
        found = look.unknown()
    elif look.follows_forecast:
        found = look.forecast()
    else:
        found = look.usual_day() if clues.habit.usual_c else look.last_day()
    return replace(found, error_k=air.error_at(now_step))


def _age_h(air: PlaceAir, now_step: int) -> float:
    """Hours since the last reading: what is said of the present is off by so much already."""
    if air.supported_to_ms is None:
        return 0.0
    return max(now_step * STEP_MS - air.supported_to_ms, 0) / 3_600_000.0


@dataclass(frozen=True)
class _Look:
    """One place's last day, and the hours for which its air is asked."""

    kind: PlaceKind
    day: Floats
    clues: AirClues
    now_step: int
    leads_h: Floats
    age_h: float

    @property
    def now_c(self) -> float:
        return float(self.day[-1])

    def off_k(self, *, set_point_c: float | None = None) -> Floats:
        """How far off nine in ten are, K."""
        known = self.clues.habit.off_k or default_off_k(self.kind, set_point_c=set_point_c)
        return np.interp(self.leads_h + self.age_h, LEADS_H, known)

    def warm_room(self, set_point_c: float) -> AirAhead:
        """Go back to the set point; how fast is known to a factor of two."""
        habit = self.clues.habit
        gap = self.now_c - set_point_c if np.isfinite(self.now_c) else 0.0
        slow, likely, quick = (
            set_point_c + gap * np.exp(-self.leads_h / (habit.recovery_h * factor))
            for factor in (2.0, 1.0, 0.5)
        )
        off = self.off_k(set_point_c=set_point_c)
        return AirAhead(
            likely=likely,
            low=np.minimum(slow, quick) - off,
            high=np.maximum(slow, quick) + off,
            error_k=0.0,
            basis=AirBasis.SET_POINT,
            cases=habit.cases,
        )

    def unknown(self) -> AirAhead:
        """Nothing is ruled out."""
        nothing = np.full(len(self.leads_h), np.nan)
        return AirAhead(
            likely=nothing,
            low=np.full_like(nothing, NEVER_SEEN_LOW_C),
            high=np.full_like(nothing, NEVER_SEEN_HIGH_C),
            error_k=0.0,
            basis=AirBasis.NOTHING,
        )

    def usual_day(self) -> AirAhead:
        """Take the usual course of the day, from the level of now."""
        habit = self.clues.habit
        likely = self._usual(self.leads_h) + self._apart(self.leads_h)
        return self._within(likely, self.off_k(), basis=AirBasis.USUAL_DAY, days=habit.days)

    def _usual(self, leads_h: Floats) -> Floats:
        """Usual air, °C, by straight lines between the middles of the hours."""
        hour = (self.now_step / STEPS_PER_HOUR + leads_h - 0.5) % 24.0
        usual = self.clues.habit.usual_c
        return np.interp(hour, np.arange(25), [*usual, usual[0]])

    def _apart(self, leads_h: Floats) -> Floats:
        """How far the air will be from usual, K."""
        back = np.arange(min(LEVEL_HOURS * STEPS_PER_HOUR, len(self.day) - 1), -1, -1)
        lately = self.day[-1 - back] - self._usual(-back / STEPS_PER_HOUR)
        level = float(np.nanmean(lately))
        return fading(leads_h, level_k=level, present_k=float(lately[-1]), kind=self.kind)

    def last_day(self) -> AirAhead:
        """Let the last day come over again; what now differs from a day ago passes."""
        # step s ahead looks like step s − 24 h, and the present like a day ago where that is known
        ahead = np.arange(len(self.leads_h)) * STRIDE
        count = len(self.day) - 1
        likely = self.day[(ahead - 1) % count + 1 if count else np.zeros_like(ahead)]
        likely[0] = self.day[0] if count == _DAY_STEPS else self.now_c
        likely = np.where(np.isfinite(likely), likely, self.now_c)
        gap = self.now_c - likely[0]
        return self._within(
            likely + gap * np.exp(-self.leads_h / PASSING_H), self.off_k(), basis=AirBasis.LAST_DAY
        )

    @property
    def follows_forecast(self) -> bool:
        """Whether a fresh forecast says more of this place than its own days."""
        forecast, habit = self.clues.forecast, self.clues.habit
        if forecast is None or self.kind not in OPEN_AIR_KINDS:
            return False
        own = habit.off_k or default_off_k(self.kind, set_point_c=None)
        surer = habit.forecast_off_k[_JUDGED_AT] <= own[_JUDGED_AT]
        return surer and forecast.is_fresh(moment_of(self.now_step))

    def forecast(self) -> AirAhead:
        """Follow the forecast as far as it goes, and the usual day from there."""
        forecast, habit = self.clues.forecast, self.clues.habit
        assert forecast is not None  # noqa: S101 - follows_forecast
        seconds = self.now_step * STEP_SECONDS + self.leads_h * 3600.0
        passing = np.exp(-self.leads_h / PASSING_H)
        along = forecast.at_place(seconds, present_c=self.now_c, passing=passing)
        beyond = self.usual_day() if habit.usual_c else self.last_day()
        end = int(np.isfinite(along).sum())
        after_h = self.leads_h[end:] - self.leads_h[end - 1]
        step = float(along[end - 1] - beyond.likely[end - 1])
        rest = beyond.likely[end:] + fading(after_h, level_k=step, present_k=step, kind=self.kind)
        age_h = (moment_of(self.now_step) - forecast.issued_at).total_seconds() / 3600.0
        off = np.interp(self.leads_h + max(age_h, 0.0), LEADS_H, habit.forecast_off_k)
        own = self.off_k()
        off[end:] = np.maximum(off[end:], own[end:])
        found = self._within(
            np.concatenate([along[:end], rest]),
            np.where(self.leads_h <= self.leads_h[end - 1], np.minimum(off, own), off),
            basis=AirBasis.FORECAST,
        )
        return replace(found, cases=habit.forecast_cases, issued_at=forecast.issued_at)

    def _within(self, likely: Floats, off_k: Floats, *, basis: AirBasis, days: int = 0) -> AirAhead:
        return AirAhead(
            likely=likely,
            low=likely - off_k,
            high=likely + off_k,
            error_k=0.0,
            basis=basis,
            cases=self.clues.habit.cases,
            days=days,
        )


def basis_words(ahead: AirAhead, *, now: datetime) -> str:
    """Say in one sentence what the air to come rests on."""
    tried = f"{ahead.cases} days of its own" if ahead.cases else "places like it"
    band = f"The band is how far off nine in ten were at {tried}."
    if ahead.basis is AirBasis.FORECAST and ahead.issued_at is not None:
        hours = max(round((now - ahead.issued_at).total_seconds() / 3600.0), 0)
        age = f"{hours} h ago" if hours else "within the hour"
        return f"Air to come: from the forecast of the outdoor air issued {age}."
    if ahead.basis is AirBasis.SET_POINT:
        return f"Air to come: back to the set point. {band}"
    if ahead.basis is AirBasis.USUAL_DAY:
        days = "the last day" if ahead.days == 1 else f"the last {ahead.days} days"
        return f"Air to come: the usual course of {days}, from the level of now. {band}"
    if ahead.basis is AirBasis.LAST_DAY:
        return f"Air to come: the last day over again. {band}"
    return "Air to come: not known."
