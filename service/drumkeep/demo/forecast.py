"""A forecast of a site's outdoor air, as a weather service would issue it: near, and not right."""

import math
from datetime import datetime, timedelta
from typing import Any, Final

from drumkeep.demo.climate import Outdoors

_AHEAD: Final = timedelta(days=4)
_HOUR: Final = timedelta(hours=1)

_ERROR_AT_A_DAY_K: Final = 1.2
_ERROR_TURNS_H: Final = 31.0
"""The error grows with the root of the time ahead and changes its sign now and then (invented)."""


def air_forecast(outside: Outdoors, *, now: datetime) -> dict[str, Any] | None:
    """Return a forecast issued now, as it is sent; None where the outdoors ends before.

    Parameters
    ----------
    outside
        What the outdoor air will be.
    now
        The present, UTC.
    """
    points = [
        {"at": at.isoformat(), "c": round(air + _error_k((at - now) / _HOUR), 1)}
        for at, air in zip(outside.times, outside.air_c, strict=True)
        if not at.minute and now - _HOUR < at <= now + _AHEAD
    ]
    return {"issued_at": now.isoformat(), "points": points} if points[2:] else None


def _error_k(hours: float) -> float:
    ahead = max(hours, 0.0)
    turn = math.sin(2.0 * math.pi * ahead / _ERROR_TURNS_H)
    return _ERROR_AT_A_DAY_K * math.sqrt(ahead / 24.0) * turn
