"""A trace as a table, a line for each stay of a drum in a place."""

from collections.abc import Iterator
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from drumkeep.domain.quantities import fahrenheit
from drumkeep.operations.trace import DrumTrace, Trace

_FIGURES: Final = ("bottom_min", "bottom_mean", "bottom_max", "low", "high")


def trace_rows(trace: Trace, *, us: bool) -> Iterator[tuple[object, ...]]:
    """Return headings and lines; times in the zone of the place's site, temperatures as asked."""
    unit = "f" if us else "c"
    yield (
        *("product", "side", "lot", "made_on", "drum"),
        *("site", "place", "kind", "since", "until", "hours"),
        *(f"{name}_{unit}" for name in _FIGURES),
        *("not_known_hours", "points_hours_apart"),
        *("received_at", "ended", "poured_from", "poured_into", "pull_lists", "claim"),
    )
    for drum in (*trace.drums, *trace.receivers):
        yield from _of_drum(drum, us=us)


def _of_drum(drum: DrumTrace, *, us: bool) -> Iterator[tuple[object, ...]]:
    row = drum.row
    for stay in drum.stays:
        span, zone = stay.span, stay.site.timezone
        degrees = [getattr(span, f"{name}_c") for name in _FIGURES]
        yield (
            *(row.product.code, row.product.side, row.lot.code, row.lot.made_on.isoformat()),
            row.drum.tag,
            *(stay.site.code, stay.place.code, stay.place.kind),
            *(local(stay.since, zone), local(stay.until, zone), span.hours),
            *(fahrenheit(c) if us and c is not None else c for c in degrees),
            *(span.unknown_h, span.apart_h),
            local(row.drum.received_at, row.site.timezone),
            row.drum.ended,
            " ".join(pour.tag for pour in drum.poured_in),
            " ".join(pour.tag for pour in drum.poured_out),
            " ".join(str(pull.pull_id) for pull in drum.pulls),
            drum.claim_id,
        )


def local(at: datetime | None, zone: str) -> str | None:
    """Return a time of a zone's clock with its distance from UTC."""
    return None if at is None else at.astimezone(ZoneInfo(zone)).isoformat(timespec="seconds")
