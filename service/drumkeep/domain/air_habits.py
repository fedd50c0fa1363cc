"""What a place's own past teaches of its air: the usual day, the recovery, and how far off.

Every rule by which the air to come is said is tried on the hours on record, from every third hour
on. Nine in ten trials were off by less than what is kept, leaning on a default while there are few.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air_forecasts import OutdoorForecast
from drumkeep.domain.places import PlaceKind

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
Leads = tuple[float, ...]

OPEN_AIR_KINDS: Final = frozenset(
    {PlaceKind.YARD, PlaceKind.DOCK, PlaceKind.VEHICLE, PlaceKind.JOB_SITE}
)
"""Places whose air follows the outdoors closely."""

LEADS_H: Final = (0, 1, 3, 6, 12, 24, 48, 72, 96)
"""Hours ahead for which the error is kept; between them by straight lines."""

OPEN_AIR_OFF_K: Final = (0.0, 1.5, 2.9, 4.0, 4.5, 5.2, 7.0, 7.3, 7.8)
INDOOR_OFF_K: Final = (0.0, 0.9, 1.4, 2.3, 2.9, 3.4, 5.2, 6.1, 6.4)
WARM_ROOM_OFF_K: Final = (0.0, 1.0, 1.1, 1.2, 1.3, 1.3, 1.3, 1.3, 1.3)
"""How far off nine in ten were, K, for a place without a past of its own, where the last day comes
again: the typical years of Greensboro, Sand Point and Miami together, in the open, in sheds that
lag by 6 to 30 h, and in a room on a thermostat with doors (``tests/builders/air_trials.py``)."""

FORECAST_OFF_K: Final = (0.0, 1.5, 2.2, 2.7, 3.2, 3.7, 4.3, 5.2, 6.0)
"""The same of an uploaded forecast, by hours since its issue. From memory: public forecasts of air
are off by 1.5 to 2.5 K on average over three days, and nine in ten by about twice that."""

LEAST_OFF_K: Final = 0.8
"""No band is narrower an hour ahead: the place's sensors are not the air at every drum."""

SHARE: Final = 0.9
STRETCH: Final = 1.1
"""The season moves on from the weeks that taught: without this 85 to 88 in a hundred lie within."""

LEARNED_DAYS: Final = 28
"""Hours this far back are tried: long enough for a spell of weather, short enough for a season."""

USUAL_DAYS: Final = 7
LEANING_DAYS: Final = 7.0
"""Days of trials that weigh as much as the default."""

RECOVERY_H: Final = 1.0
"""Time constant of a warm room before it has shown its own (common practice, no source)."""

OPEN_AIR_LEVEL_H: Final = 33.0
INDOOR_LEVEL_H: Final = 66.0
PASSING_H: Final = 9.5
"""How fast a level other than the usual fades: best on the three typical years, to a quarter."""

LEVEL_HOURS: Final = 3

_TRIED_EVERY_H: Final = 3
_FIRST_TRIAL_H: Final = 48
_RECOVERY_HALF_H: Final = 48.0
_RECOVERY_LEAN_K2: Final = 20.0
"""Squares of departures from the set point, K² summed over hours, that weigh as much as the
default: four hours at 2 K."""
_RECOVERY_LIMITS: Final = (0.05, 0.98)


@dataclass(frozen=True)
class AirHabit:
    """What a place's past says of its air.

    Attributes
    ----------
    usual_c
        Mean of each hour of the UTC day over the last days, °C; empty where no full day is on
        record.
    days
        Days that it is the mean of.
    off_k
        How far off nine in ten trials were at ``LEADS_H``, K; empty: the default of its kind.
    cases
        Days of trials behind it.
    recovery_h
        Time constant of a warm room, h.
    forecast_off_k, forecast_cases
        The same of uploaded forecasts, by hours since issue; and how many were tried.
    """

    usual_c: Leads = ()
    days: int = 0
    off_k: Leads = ()
    cases: int = 0
    recovery_h: float = RECOVERY_H
    forecast_off_k: Leads = FORECAST_OFF_K
    forecast_cases: int = 0

    def as_json(self) -> dict[str, Any]:
        """Return it as it is stored."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> "AirHabit":
        """Return one as it was stored."""
        kept: dict[str, Any] = {n: tuple(v) if isinstance(v, list) else v for n, v in data.items()}
        return cls(**kept)


def default_off_k(kind: PlaceKind, *, set_point_c: float | None) -> Leads:
    """Return the error by hours ahead, K, of a place without a past of its own."""
    if kind is PlaceKind.WARM_ROOM and set_point_c is not None:
        return WARM_ROOM_OFF_K
    return OPEN_AIR_OFF_K if kind in OPEN_AIR_KINDS else INDOOR_OFF_K


def fading(
    leads_h: Floats | float,
    *,
    level_k: Floats | float,
    present_k: Floats | float,
    kind: PlaceKind,
) -> Floats:
    """Return what is left later of how far the air is from usual, K.

    Parameters
    ----------
    leads_h
        Hours ahead.
    level_k
        How far it was over the last three hours: fades slowly.
    present_k
        How far it is now: what that is beside the level passes sooner.
    kind
        Air indoors keeps its level twice as long.
    """
    hours = OPEN_AIR_LEVEL_H if kind in OPEN_AIR_KINDS else INDOOR_LEVEL_H
    passing = np.subtract(present_k, level_k) * np.exp(np.negative(leads_h) / PASSING_H)
    return np.asarray(level_k * np.exp(np.negative(leads_h) / hours) + passing, dtype=np.float64)


def habit_of(
    hours_c: Floats,
    *,
    first_hour: int,
    kind: PlaceKind,
    set_point_c: float | None,
    forecasts: Sequence[OutdoorForecast] = (),
) -> AirHabit:
    """Learn a place's habit.

    Parameters
    ----------
    hours_c
        Mean air of each hour on record, °C, oldest first, up to the last full one; NaN for gaps.
    first_hour
        UTC hours since 1970 of the first.
    kind, set_point_c
        The place's; a warm room's past reaches back only to its last change.
    forecasts
        Forecasts uploaded for its site in that time.
    """
    tried = np.arange(_FIRST_TRIAL_H, len(hours_c), _TRIED_EVERY_H)
    default = default_off_k(kind, set_point_c=set_point_c)
    usual, days = _usual_day(hours_c, first_hour=first_hour)
    if kind is PlaceKind.WARM_ROOM and set_point_c is not None:
        recovery_h = _recovery_h(hours_c - set_point_c)
        errors = [
            _error(hours_c, tried, lead, set_point_c + (hours_c[tried] - set_point_c) * left)
            for lead in LEADS_H[1:]
            for left in [np.exp(-lead / recovery_h)]
        ]
        off, cases = _quantiles(errors, default=default)
        return AirHabit(usual_c=usual, days=days, off_k=off, cases=cases, recovery_h=recovery_h)
    off, cases = _quantiles(_usual_errors(hours_c, tried, kind=kind), default=default)
    followed = _forecast_errors(hours_c, first_hour=first_hour, forecasts=forecasts)
    forecast_off, forecast_cases = _quantiles(followed, default=FORECAST_OFF_K, each_h=24.0)
    return AirHabit(
        usual_c=usual,
        days=days,
        off_k=off,
        cases=cases,
        forecast_off_k=forecast_off,
        forecast_cases=forecast_cases,
    )


def _usual_day(hours_c: Floats, *, first_hour: int) -> tuple[Leads, int]:
    """Return the mean of each hour of the UTC day over the last days; empty without a full day."""
    recent = hours_c[-24 * USUAL_DAYS :]
    start = first_hour + len(hours_c) - len(recent)
    padded = np.full(24 * (USUAL_DAYS + 1), np.nan)
    padded[start % 24 : start % 24 + len(recent)] = recent
    table = padded.reshape(-1, 24)
    counts = np.isfinite(table).sum(axis=0)
    if not counts.all():
        return (), 0
    return tuple(float(c) for c in np.nansum(table, axis=0) / counts), int(counts.min())


def _usual(hours_c: Floats, when: Indices, *, known_to: Indices) -> Floats:
    """Return the mean of the same hour over the days before each time that were known then."""
    back = np.maximum(-((known_to - when) // 24), 1)  # whole days back to what was known
    index = when - 24 * (back + np.arange(USUAL_DAYS)[:, None])
    values = np.where(index >= 0, hours_c[np.clip(index, 0, len(hours_c) - 1)], np.nan)
    return _mean(values)


def _mean(values: Floats) -> Floats:
    """Mean over the first axis of what is known; NaN where nothing is."""
    known = np.isfinite(values)
    total = np.where(known, values, 0.0).sum(axis=0)
    return np.asarray(np.where(known.any(axis=0), total, np.nan) / np.maximum(known.sum(axis=0), 1))


def _usual_errors(hours_c: Floats, tried: Indices, *, kind: PlaceKind) -> list[Floats]:
    apart = [
        hours_c[tried - back] - _usual(hours_c, tried - back, known_to=tried - back - 1)
        for back in range(LEVEL_HOURS)
    ]
    level = _mean(np.stack(apart))
    return [
        _error(
            hours_c,
            tried,
            lead,
            _usual(hours_c, tried + lead, known_to=tried)
            + fading(float(lead), level_k=level, present_k=apart[0], kind=kind),
        )
        for lead in LEADS_H[1:]
    ]


def _error(hours_c: Floats, tried: Indices, lead: int, said_c: Floats) -> Floats:
    """How far off what was said for so many hours later was; NaN where it is not known."""
    when = tried + lead
    came = np.where(when < len(hours_c), hours_c[np.minimum(when, len(hours_c) - 1)], np.nan)
    return np.abs(came - said_c)


def _forecast_errors(
    hours_c: Floats, *, first_hour: int, forecasts: Sequence[OutdoorForecast]
) -> list[Floats]:
    """How far off each uploaded forecast was at a place, by hours after its issue."""
    errors = np.full((len(LEADS_H) - 1, len(forecasts)), np.nan)
    leads = np.array(LEADS_H, dtype=np.float64)
    for column, forecast in enumerate(forecasts):
        issue = int(forecast.issued_at.timestamp() // 3600) - first_hour
        if not 0 <= issue < len(hours_c):
            continue
        # the mean of an hour stands for its middle
        seconds = (first_hour + issue + 0.5 + leads) * 3600.0
        said = forecast.at_place(
            seconds, present_c=float(hours_c[issue]), passing=np.exp(-leads / PASSING_H)
        )
        for row, lead in enumerate(LEADS_H[1:]):
            errors[row, column] = _error(hours_c, np.array([issue]), lead, said[row + 1])[0]
    return list(errors)


def _quantiles(
    errors: Sequence[Floats], *, default: Leads, each_h: float = float(_TRIED_EVERY_H)
) -> tuple[Leads, int]:
    """Return the error of nine in ten at ``LEADS_H``, K, and the days of trials behind it.

    Parameters
    ----------
    errors
        Of each lead but the first, NaN where it was not tried.
    default
        What it leans on while there are few trials.
    each_h
        Hours of the past that one trial stands for.
    """
    kept, most = [0.0], 0.0
    for off, usual in zip(errors, default[1:], strict=True):
        some = off[np.isfinite(off)]
        days = len(some) * each_h / 24.0
        own = STRETCH * float(np.quantile(some, SHARE)) if len(some) else 0.0
        kept.append(max((days * own + LEANING_DAYS * usual) / (days + LEANING_DAYS), LEAST_OFF_K))
        most = max(most, days)
    # farther ahead is never surer
    return tuple(float(k) for k in np.maximum.accumulate(kept)), int(most)


def _recovery_h(off_c: Floats) -> float:
    """Return the time constant, h, by which a room comes back: what an hour leaves of a departure.

    A regression of each hour on the one before, the newest first, leaning on the default. A heater
    that fails leaves all, and so within hours the room is no longer expected to come back.
    """
    before, after = off_c[:-1], off_c[1:]
    age = np.arange(len(before))[::-1]
    weight = np.where(np.isfinite(before * after), 0.5 ** (age / _RECOVERY_HALF_H), 0.0)
    squares = float((weight * np.nan_to_num(before) ** 2).sum())
    products = float((weight * np.nan_to_num(before) * np.nan_to_num(after)).sum())
    usual = np.exp(-1.0 / RECOVERY_H)
    left = (products + _RECOVERY_LEAN_K2 * usual) / (squares + _RECOVERY_LEAN_K2)
    return float(-1.0 / np.log(np.clip(left, *_RECOVERY_LIMITS)))
