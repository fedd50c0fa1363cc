"""Air of indoor places and vehicles, worked out from the outdoor air by simple stated physics.

A place lags behind the outdoors (first order), leans on a heated neighbour, or is held at a set
point with the ripple of a thermostat. Nothing here knows what a drum is.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Final

from drumkeep.demo.weather import Hour

STEP: Final = timedelta(minutes=5)

Curve = Callable[["Outdoors"], list[float]]
"""Gives the values of a place on the steps of its outdoors."""

# Magnus formula over water, coefficients of Alduchov and Eskridge (1996).
_MAGNUS: Final = (17.625, 243.04)


@dataclass(frozen=True)
class Outdoors:
    """Outdoor air every five minutes: straight lines between the hours."""

    times: list[datetime]
    air_c: list[float]
    damp_rh: list[float]


def outdoors(hours: Sequence[Hour]) -> Outdoors:
    """Lay straight lines between hours."""
    times, air, damp = [], [], []
    for left, right in pairwise(hours):
        steps = round((right.at - left.at) / STEP)
        for index in range(steps):
            share = index / steps
            times.append(left.at + index * STEP)
            air.append(left.air_c + share * (right.air_c - left.air_c))
            damp.append(left.damp_rh + share * (right.damp_rh - left.damp_rh))
    return Outdoors(times, air, damp)


def open_air(*, plus_k: float = 0.0) -> Curve:
    """Outdoor air; or a closed box in it, warmer by what leaks from engine and sun."""
    return lambda outside: [value + plus_k for value in outside.air_c]


def lagging(*, hours: float, plus_k: float = 0.0) -> Curve:
    """Follow the outdoors with a first-order lag: thin walls and the mass behind them."""
    return lambda outside: [value + plus_k for value in _lagged(outside.air_c, hours=hours)]


def beside(*, heated_c: float, share: float, hours: float, ripple_k: float = 0.3) -> Curve:
    """Give a room that is warmed by a heated neighbour by a share, and cooled by the outdoors."""

    def curve(outside: Outdoors) -> list[float]:
        held_there = held(heated_c, ripple_k=ripple_k, minutes=70)(outside)
        cold = _lagged(outside.air_c, hours=hours)
        return [share * a + (1.0 - share) * b for a, b in zip(held_there, cold, strict=True)]

    return curve


def held(set_point_c: float, *, ripple_k: float, minutes: float, leak: float = 0.0) -> Curve:
    """Hold a set point: the ripple of a thermostat, and a leak of the outdoor swing."""

    def curve(outside: Outdoors) -> list[float]:
        usual = sum(outside.air_c) / len(outside.air_c)
        swing = _lagged(outside.air_c, hours=3.0)
        per_step = 2.0 * math.pi * STEP.total_seconds() / (60.0 * minutes)
        return [
            set_point_c + ripple_k * math.sin(index * per_step) + leak * (value - usual)
            for index, value in enumerate(swing)
        ]

    return curve


def damp_in(air: Curve, *, added_hpa: float = 0.0) -> Curve:
    """Give the relative humidity of a place that holds the outdoors' vapour, and what is added."""

    def curve(outside: Outdoors) -> list[float]:
        inside = air(outside)
        return [
            min(95.0, 100.0 * (damp / 100.0 * _saturated(out) + added_hpa) / _saturated(within))
            for out, damp, within in zip(outside.air_c, outside.damp_rh, inside, strict=True)
        ]

    return curve


def _lagged(values: Sequence[float], *, hours: float) -> list[float]:
    keep = math.exp(-STEP.total_seconds() / (3600.0 * hours))
    state = values[0]
    found = []
    for value in values:
        state = value + (state - value) * keep
        found.append(state)
    return found


def _saturated(air_c: float) -> float:
    """Vapour pressure over water, hPa."""
    slope, offset = _MAGNUS
    return 6.1094 * math.exp(slope * air_c / (air_c + offset))
