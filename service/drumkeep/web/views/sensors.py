"""Sensors as the page shows them: by where they hang."""

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.alarm_rules.watch import silent_after
from drumkeep.domain.doubt_words import said as value_said
from drumkeep.domain.doubt_words import seen
from drumkeep.domain.grid import from_ms, to_ms
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import Code, codes_of
from drumkeep.domain.sensors import What
from drumkeep.operations.ground import Ground, read_ground
from drumkeep.operations.sensor_watch import WatchedSensor, watch_sensors
from drumkeep.storage import catalogue
from drumkeep.storage.sensor_list import HangingSensor
from drumkeep.storage.tables.catalogue import Calibration
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import AirLine, ShelfView
from drumkeep.web.views.sentences import said
from drumkeep.web.wording import PLACE_KIND

LATELY: Final = timedelta(hours=24)
_DOUBTS_SHOWN: Final = 4
_PART: Final = re.compile(r"[:/-]")
_SHORTEST_MARK: Final = 4
"""Characters; fewer would not be looked for on a device."""

MEASURES: Final = {
    What.AIR: "Air",
    What.FLOOR: "Floor",
    What.SKIN: "Skin of the drum",
    What.LIQUID: "Liquid in the drum",
    What.HUMIDITY: "Humidity",
    What.SUN: "Sun",
}
_IN_THEIR_OWN: Final = {What.HUMIDITY: "%", What.SUN: "W/m²"}
"""Units of what is no temperature: it has no line, and its error is written as it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtView:
    """What a sensor is or was doubted for; ``over`` is when it ended."""

    words: str
    over: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorView:
    """One sensor where it hangs.

    ``mark`` tells it from others there that measure the same; empty where none does. ``line`` is
    its last day, None for humidity, for the sun and where nothing was heard; ``doubts`` are the
    newest first.
    """

    name: str
    measures: str
    mark: str
    drum: str | None
    last: str | None
    last_at: datetime | None
    span: str | None
    silent: bool
    doubted: bool
    doubts: tuple[DoubtView, ...]
    line: ShelfView | None
    hung_at: datetime
    calibration: str
    calibrated_at: datetime | None
    gateway: str | None
    every: str
    error: str

    @property
    def needs_somebody(self) -> bool:
        """Whether it is silent or doubted now."""
        return self.silent or self.doubted


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotView:
    """A place with the sensors that hang there and on its drums."""

    place: str
    code: str
    kind_words: str
    site: str
    timezone: str
    sensors: tuple[SensorView, ...]


def spot_views(tx: Tx, shown: Sequence[HangingSensor], *, formats: Formats) -> tuple[SpotView, ...]:
    """Return some sensors by the place where they hang, in their order."""
    where = {one.id: one.place_id for one in shown}
    ground = read_ground(tx, around=where.values())
    watched = watch_sensors(tx, ground=ground, lately=LATELY, now=formats.now, only=where.keys())
    gateways = catalogue.gateway_references(tx, ids=[one.sensor.gateway_id for one in watched])
    calibrations: dict[int, list[Calibration]] = defaultdict(list)
    for row in catalogue.calibrations_of(tx, sensor_ids=list(where)):
        calibrations[row.sensor_id].append(row)
    drums = {one.id: one.drum for one in shown}
    by_place: dict[int, list[SensorView]] = {place_id: [] for place_id in where.values()}
    for one in watched:
        place = ground.places[where[one.sensor.id]]
        by_place[place.id].append(
            _sensor_view(
                one,
                drum=drums[one.sensor.id],
                place=place.name,
                kind=PlaceKind(place.kind),
                calibrations=calibrations[one.sensor.id],
                gateway=gateways.get(one.sensor.gateway_id or 0),
                formats=formats.at(ground.sites[place.site_id].timezone),
            )
        )
    return tuple(_spot(ground, place_id, sensors) for place_id, sensors in by_place.items())


def _spot(ground: Ground, place_id: int, sensors: Sequence[SensorView]) -> SpotView:
    place = ground.places[place_id]
    site = ground.sites[place.site_id]
    return SpotView(
        place=place.name,
        code=f"{site.code}/{place.code}",
        kind_words=PLACE_KIND[place.kind],
        site=site.name,
        timezone=site.timezone,
        sensors=tuple(
            sorted(_told_apart(sensors), key=lambda s: (not s.needs_somebody, s.drum or "", s.name))
        ),
    )


def _told_apart(sensors: Sequence[SensorView]) -> list[SensorView]:
    """Mark sensors that measure the same in one place or drum by what of their names differs."""
    alike: dict[tuple[str, str | None], list[str]] = defaultdict(list)
    for one in sensors:
        alike[one.measures, one.drum].append(one.name)
    marks = {name: mark for names in alike.values() for name, mark in marks_of(names).items()}
    return [replace(one, mark=marks[one.name]) for one in sensors]


def marks_of(names: Sequence[str]) -> dict[str, str]:
    """Return the shortest end by which each name is known among others: ``…0131``.

    It is the end of what the device is called, as a label on it says; empty for a name alone.
    """
    if len(names) == 1:
        return {names[0]: ""}
    ends = list(names)
    for parts in zip(*(reversed(_PART.split(name)) for name in names), strict=False):
        if len(set(parts)) == len(names):
            ends = list(parts)
            break
    for length in range(_SHORTEST_MARK, max(map(len, ends))):
        if len({end[-length:] for end in ends}) == len(names):
            ends = [end if len(end) <= length else f"…{end[-length:]}" for end in ends]
            break
    return dict(zip(names, ends, strict=True))


def _sensor_view(
    one: WatchedSensor,
    *,
    drum: str | None,
    place: str,
    kind: PlaceKind,
    calibrations: Sequence[Calibration],
    gateway: str | None,
    formats: Formats,
) -> SensorView:
    now, series, what = formats.now, one.series, one.series.what
    now_ms = to_ms(now)
    heard = bool(len(series.ts_ms))
    last_at = from_ms(int(series.ts_ms[-1])) if heard else None
    lasting = [c for c in calibrations if c.since <= now]
    calibration = max(lasting, key=lambda c: c.since, default=None)
    return SensorView(
        name=one.sensor.name,
        measures=MEASURES[what],
        mark="",
        drum=drum,
        last=said(value_said(float(series.value_c[-1]), what=what), formats) if heard else None,
        last_at=last_at,
        span=_span(one, formats=formats),
        silent=now - (last_at or one.mount.since) > silent_after(one.sensor.interval_s),
        doubted=any(doubt.holds_at(now_ms) for doubt in one.doubts),
        doubts=tuple(
            DoubtView(
                words=said(seen(doubt, what=what), formats),
                over=None if doubt.until_ms is None else from_ms(doubt.until_ms),
            )
            for doubt in reversed(one.doubts[-_DOUBTS_SHOWN:])
        ),
        line=_line(one, place=place, kind=kind, now=now),
        hung_at=one.mount.since,
        calibration=_calibration(calibration, what=what, formats=formats),
        calibrated_at=None if calibration is None else calibration.since,
        gateway=gateway,
        every=formats.duration(timedelta(seconds=one.sensor.interval_s))
        or f"{one.sensor.interval_s:.0f} s",
        error=size_words(one.sensor.error_k, what=what, formats=formats),
    )


def _span(one: WatchedSensor, *, formats: Formats) -> str | None:
    """Return the lowest and highest of the last day, for what has no line."""
    unit = _IN_THEIR_OWN.get(one.series.what)
    if unit is None:
        return None
    inside = one.series.ts_ms >= to_ms(formats.now - LATELY)
    if not inside.any():
        return None
    values = one.series.value_c[inside]
    low, high = f"{values.min():.0f}", f"{values.max():.0f}"
    return formats.words("{low} to {high} {unit}", low=low, high=high, unit=unit)


def size_words(value: float, *, what: What, formats: Formats) -> str:
    """Return an error or a shift in the unit of what is measured."""
    unit = _IN_THEIR_OWN.get(what)
    return formats.fine_difference(value) if unit is None else f"{value:g} {unit}"


def _line(one: WatchedSensor, *, place: str, kind: PlaceKind, now: datetime) -> ShelfView | None:
    """Return the last day as a line, without what cannot be: it would flatten the rest."""
    series = one.series
    if series.what in _IN_THEIR_OWN:
        return None
    shown = (series.ts_ms >= to_ms(now - LATELY)) & (codes_of(series, kind=kind) != Code.RANGE)
    if not shown.any():
        return None
    return ShelfView(
        place=place,
        code=one.sensor.name,
        kind=kind.value,
        kind_words=PLACE_KIND[kind.value],
        site="",
        air_line=AirLine(
            past=tuple(
                zip(series.ts_ms[shown].tolist(), series.value_c[shown].tolist(), strict=True)
            )
        ),
    )


def _calibration(row: Calibration | None, *, what: What, formats: Formats) -> str:
    if row is None or (row.gain == 1.0 and row.offset == 0.0):
        return formats.words("as it is given")
    parts = []
    if row.gain != 1.0:
        parts.append(formats.words("times {factor}", factor=f"{row.gain:g}"))
    if row.offset:
        size = size_words(abs(row.offset), what=what, formats=formats)
        sign = "plus {size}" if row.offset > 0 else "less {size}"
        parts.append(formats.words(sign, size=size))
    return ", ".join(parts)
