"""Geometry of the air line: the last 24 hours of a place's air, running on into the next 12.

Lines are worked out in a box of 1000 × ``TALL`` that stretches with the page; words are placed
in per cent of its width, so that they never stretch.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import groupby
from typing import Final

from drumkeep.domain.grid import to_ms
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import LimitView, Point, PointAhead, ShelfView

WIDE: Final = 1000.0
TALL: Final = 60.0
BEHIND: Final = timedelta(hours=24)
AHEAD: Final = timedelta(hours=12)
_MARGIN: Final = 6.0
_REACH_K: Final = 8.0
"""A limit this far (K) from the line is still drawn; farther ones would flatten it."""
_LEAST_SPAN_K: Final = 6.0
_BUCKET_MS: Final = 900_000
_TICK_H: Final = 6
_NAMED: Final = {0: "midnight", 12: "noon"}
_TIGHT_PERCENT: Final = 14.0
_FRESH_MS: Final = 45 * 60_000
"""No dot stands at "now" for what was heard longer ago."""
_MINUTE: Final = timedelta(minutes=1)
_INSTANT: Final = timedelta(microseconds=1)
_NARROW_PX: Final = 330.0
_LETTER_PX: Final = 6.6
_GAP_PX: Final = 6.0
"""No hour is written into the word "now" on the narrowest phone; letters as wide as on average."""


@dataclass(frozen=True, slots=True)
class Scale:
    """How a line of something else than air is written, and what it spans at least."""

    write: Callable[[float], str]
    least_span: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitLine:
    """A hairline at a limit."""

    y: float
    label: str
    high: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A moment on the time axis, ``x`` in per cent."""

    x: float
    label: str
    anchor: str = "middle"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """Tonight's expected low or the day's high, ``x`` in per cent."""

    x: float
    y: float
    label: str
    anchor: str
    below: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AirDrawing:
    """All that the air line macro draws; paths are empty where there is no air to show."""

    past: str
    ahead: str
    band: str
    now_x: float
    now_y: float | None
    limits: tuple[LimitLine, ...]
    ticks: tuple[Tick, ...]
    marks: tuple[Mark, ...]
    words: str


def air_drawing(
    shelf: ShelfView,
    formats: Formats,
    *,
    ahead_hours: float = AHEAD / timedelta(hours=1),
    subject: str = "Air",
    scale: Scale | None = None,
) -> AirDrawing:
    """Work out the air line of a shelf from 24 h before ``formats.now`` to 12 h after.

    Parameters
    ----------
    shelf
        Its line, limits and extremes.
    formats
        The viewer's, in the site's zone.
    ahead_hours
        How far after, where there is less to show.
    subject
        What the line is of.
    scale
        Of what is no temperature.
    """
    next_minute = (formats.now + _MINUTE - _INSTANT).replace(second=0, microsecond=0)
    return _drawn(
        replace(shelf, groups=(), doubts=()),
        replace(formats, now=next_minute),
        ahead_hours=ahead_hours,
        subject=subject,
        scale=scale,
    )


@lru_cache(maxsize=512)
def _drawn(
    shelf: ShelfView, formats: Formats, *, ahead_hours: float, subject: str, scale: Scale | None
) -> AirDrawing:
    """Work it out; the lines of a floor are those of a minute ago, and others look at them too."""
    scale = scale or Scale(formats.temp, _LEAST_SPAN_K)
    write = scale.write
    begins, ends = formats.now - BEHIND, formats.now + timedelta(hours=ahead_hours)
    start, now, end = to_ms(begins), to_ms(formats.now), to_ms(ends)
    past = _thinned([point for point in shelf.air_line.past if start <= point[0] <= now])
    ahead = [point for point in shelf.air_line.ahead if now <= point[0] <= end]
    limits = _near_limits(shelf.limit_lines, past, ahead)
    low, high = _range(past, ahead, limits, least_span=scale.least_span)

    def x(ms: float) -> float:
        return round(WIDE * (ms - start) / (end - start), 1)

    def y(c: float) -> float:
        return round(_MARGIN + (TALL - 2 * _MARGIN) * (high - c) / (high - low), 1)

    marks = []
    for extreme, below in ((shelf.night_low, True), (shelf.day_high, False)):
        if extreme is not None and begins <= extreme[1] <= ends:
            c, at = extreme
            percent = x(to_ms(at)) / 10
            anchor = "end" if percent > 100 - _TIGHT_PERCENT else "middle"
            label = f"{write(c)} {formats.clock(at, short=True)}"
            marks.append(Mark(x=percent, y=y(c), label=label, anchor=anchor, below=below))
    return AirDrawing(
        past=_path((x(t), y(c)) for t, c in past),
        ahead=_path((x(p[0]), y(p[1])) for p in ahead),
        band=_path(
            [(x(p[0]), y(p[3])) for p in ahead] + [(x(p[0]), y(p[2])) for p in reversed(ahead)]
        ),
        now_x=x(now) / 10,
        now_y=y(past[-1][1]) if past and now - past[-1][0] <= _FRESH_MS else None,
        limits=tuple(
            LimitLine(
                y=y(limit.c),
                label=f"{formats.tongue.say(limit.name)} {write(limit.c)}",
                # Written on the far side of the hairline from the air.
                high=limit.c >= _middle(past, ahead),
            )
            for limit in limits
        ),
        ticks=_ticks(begins, ends, formats),
        marks=tuple(marks),
        words=_words(past, ahead, shelf, write, subject=subject, formats=formats),
    )


def _thinned(points: Sequence[Point]) -> list[Point]:
    """Keep the lowest and the highest of each quarter hour, in order of time, and the last."""
    kept: list[Point] = []
    ordered = sorted(points)
    for _, some in groupby(ordered, key=_quarter):
        bucket = list(some)
        if len(bucket) == 1:
            kept += bucket
        else:
            kept += sorted({min(bucket, key=_celsius), max(bucket, key=_celsius)})
    if ordered and kept[-1] != ordered[-1]:
        kept.append(ordered[-1])
    return kept


def _quarter(point: Point) -> int:
    return int(point[0]) // _BUCKET_MS


def _celsius(point: Point) -> float:
    return point[1]


def _near_limits(
    limits: Sequence[LimitView],
    past: Sequence[Point],
    ahead: Sequence[PointAhead],
) -> list[LimitView]:
    values = [c for _, c in past] + [p[1] for p in ahead]
    if not values:
        return list(limits)
    low, high = min(values) - _REACH_K, max(values) + _REACH_K
    return [limit for limit in limits if low <= limit.c <= high]


def _range(
    past: Sequence[Point],
    ahead: Sequence[PointAhead],
    limits: Sequence[LimitView],
    *,
    least_span: float,
) -> tuple[float, float]:
    values = [c for _, c in past] + [limit.c for limit in limits]
    values += [c for point in ahead for c in point[1:]]
    low, high = min(values, default=0.0), max(values, default=20.0)
    short = max(0.0, least_span - (high - low)) / 2
    return low - short, high + short


def _middle(
    past: Sequence[Point],
    ahead: Sequence[PointAhead],
) -> float:
    values = [c for _, c in past] + [p[1] for p in ahead]
    return (min(values) + max(values)) / 2 if values else 0.0


def _ticks(start: datetime, end: datetime, formats: Formats) -> tuple[Tick, ...]:
    first = formats.local(start).replace(minute=0, second=0, microsecond=0)
    now_at = 100 * ((formats.now - start) / (end - start))
    ticks = []
    for hour in range(int((end - start) / timedelta(hours=1)) + 2):
        at = formats.local(first + timedelta(hours=hour))
        if at.hour % _TICK_H or not start < at < end:
            continue
        percent = round(100 * ((at - start) / (end - start)), 2)
        anchor = "start" if percent < 4 else "end" if percent > 96 else "middle"  # noqa: PLR2004 - per cent from either edge
        label = formats.clock(at, short=True)
        if at.hour in _NAMED:
            label = formats.words(_NAMED[at.hour])
        tick = Tick(x=percent, label=label, anchor=anchor)
        if _are_apart(tick, Tick(x=now_at, label=formats.words("now"))):
            ticks.append(tick)
    return tuple(ticks)


def _are_apart(one: Tick, other: Tick) -> bool:
    """Whether two words can stand beside each other where there is least room."""
    (first, last), (begin, end) = _reach(one), _reach(other)
    return last + _GAP_PX < begin or end + _GAP_PX < first


def _reach(tick: Tick) -> tuple[float, float]:
    wide = len(tick.label) * _LETTER_PX
    before = {"start": 0.0, "middle": wide / 2, "end": wide}[tick.anchor]
    left = tick.x / 100 * _NARROW_PX - before
    return left, left + wide


def _path(points: Iterable[tuple[float, float]]) -> str:
    steps = " ".join(f"{x:g} {y:g}" for x, y in points)
    return f"M{steps}" if steps else ""


def _words(
    past: Sequence[Point],
    ahead: Sequence[PointAhead],
    shelf: ShelfView,
    write: Callable[[float], str],
    *,
    subject: str,
    formats: Formats,
) -> str:
    """Return the line in one sentence, for those who do not see it."""
    words, of = formats.words, formats.tongue.say(subject)
    if not past and not ahead:
        return words("No {subject} on record at {place}.", subject=of.lower(), place=shelf.place)
    said = []
    if past:
        values = [c for _, c in past]
        low, high = write(min(values)), write(max(values))
        said.append(words("last 24 hours {low} to {high}", low=low, high=high))
    if ahead:
        likely = [p[1] for p in ahead]
        low, high = write(min(likely)), write(max(likely))
        said.append(words("next 12 hours {low} to {high}", low=low, high=high))
    course = words(
        "{subject} at {place}: {course}.", subject=of, place=shelf.place, course=", ".join(said)
    )
    return f"{course} {formats.tongue.say(shelf.air_line.basis)}".strip()
