"""Standstills of a whole record, each held against the week before it, as the service does."""

from drumkeep.domain.constancy import HISTORY_MS, Trace, habit_of, standstills, stuck_from
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.sensor_series import SensorSeries


def stuck_spans(
    series: SensorSeries,
    *,
    kind: PlaceKind,
    beside: tuple[Trace, ...] = (),
    elsewhere: tuple[Trace, ...] = (),
) -> list[tuple[int, int | None]]:
    """Return where a whole record stands still and is doubted for it."""
    ts, raw = series.ts_ms, series.value_c
    found: list[tuple[int, int | None]] = []
    for first, last in standstills(ts, raw):
        before = (ts < ts[first]) & (ts >= ts[first] - HISTORY_MS)
        since = stuck_from(
            ts[first : last + 1],
            habit=habit_of((ts[before], raw[before])),
            interval_s=series.interval_s,
            what=series.what,
            kind=kind,
            beside=beside,
            elsewhere=elsewhere,
        )
        if since is not None:
            found.append((since, int(ts[last + 1]) if last + 1 < len(ts) else None))
    return found
