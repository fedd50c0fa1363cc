"""The curves of a claim's drum, drawn so that they print, and the same day by day."""

import math
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, Final

import numpy as np

from drumkeep.domain.quantities import fahrenheit
from drumkeep.web.formats import Formats
from drumkeep.web.plot import Area, Curve, Plot
from drumkeep.web.view_models import LimitView

_LEAST_POINTS: Final = 2
_TICKS: Final = 4
"""As many as have room beside each other on a phone."""


def claim_plot(
    drum: Mapping[str, Any], *, limits: Sequence[LimitView], formats: Formats
) -> Plot | None:
    """Return the curves of a drum since its receipt, over days."""
    points = [point for point in drum["temperature"]["points"] if point[2] is not None]
    if len(points) < _LEAST_POINTS:
        return None
    at = [datetime.fromisoformat(point[0]) for point in points]
    begun = at[0]
    days = np.array([(moment - begun) / timedelta(days=1) for moment in at])

    def degrees(c: float | None) -> float:
        if c is None:
            return math.nan
        return fahrenheit(c) if formats.units == "us" else c

    column = {
        name: np.array([degrees(point[i]) for point in points])
        for i, name in enumerate(("air", "bottom", "mean", "top", "low", "high"), start=1)
    }
    heard, say = np.isfinite(column["air"]), formats.tongue.say
    curves = [
        Curve(
            name=say("bottom"), x=days, y=column["bottom"], stroke="bold", name_at=0.9, below=True
        ),
        Curve(name=say("top"), x=days, y=column["top"], name_at=0.1),
    ]
    if heard.sum() >= _LEAST_POINTS:
        heard_at, air = days[heard], column["air"][heard]
        curves.append(Curve(name=say("air"), x=heard_at, y=air, stroke="dotted", name_at=0.5))
    since = formats.words("{tag} since it was received", tag=drum["tag"])
    return Plot(
        key=drum["tag"],
        title=since,
        x_name=formats.words("days since its receipt"),
        y_name=formats.temp_unit,
        curves=tuple(curves),
        areas=(Area(x=days, low=column["low"], high=column["high"]),),
        ticks=_ticks(days[-1], begun=begun, formats=formats),
        lines=tuple(
            (degrees(limit.c), f"{say(limit.name).lower()} {formats.temp(limit.c)}")
            for limit in limits
            if limit.name in ("Store from", "Store to")
        ),
        numbers=_by_day(points, formats=formats),
    )


def _ticks(length: float, *, begun: datetime, formats: Formats) -> tuple[tuple[float, str], ...]:
    """Return marks along the days, the first at the receipt."""
    every = length / (_TICKS - 1)
    return tuple(
        (i * every, f"{local.day} {formats.tongue.month(local)} {local:%H:%M}")
        for i in range(_TICKS)
        for local in (formats.local(begun + timedelta(days=i * every)),)
    )


def _by_day(points: Sequence[Sequence[Any]], *, formats: Formats) -> tuple[tuple[str, ...], ...]:
    """Return a line for each day: air, bottom, and all that the liquid may have been."""
    days: dict[str, list[Sequence[Any]]] = {}
    for point in points:
        local = formats.local(datetime.fromisoformat(point[0]))
        days.setdefault(formats.date(local), []).append(point)
    unit = formats.temp_unit
    say = formats.tongue.say
    head = ("Day", f"Air, {unit}", f"Bottom, {unit}", f"All within, {unit}", "Known")
    return (
        tuple(say(heading) for heading in head),
        *(
            (
                day,
                _range(told, 1, 1, formats),
                _range(told, 2, 2, formats),
                _range(told, 5, 6, formats),
                say(f"{sum(point[-1] for point in told)} of {len(told)} points"),
            )
            for day, told in days.items()
        ),
    )


def _range(told: Sequence[Sequence[Any]], low: int, high: int, formats: Formats) -> str:
    lows = [point[low] for point in told if point[low] is not None]
    highs = [point[high] for point in told if point[high] is not None]
    return formats.span(min(lows), max(highs)) if lows and highs else formats.not_known
