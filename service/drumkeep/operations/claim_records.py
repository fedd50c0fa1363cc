"""The record of a claim: all that a supplier may ask of drums that came with something wrong.

It is JSON, in SI and UTC, and complete in itself: once made it does not change, whatever is
recorded, corrected or thinned later.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final

from drumkeep.domain.claims import SupplierFinding
from drumkeep.domain.courses import Beyond, over, span_of, under
from drumkeep.domain.grid import step_at
from drumkeep.domain.products import Product
from drumkeep.operations.courses import course_of
from drumkeep.operations.event_data import places_named
from drumkeep.operations.ground import Ground, read_ground
from drumkeep.operations.history import CurvePoint, past_of
from drumkeep.operations.trace import DrumTrace, StayTrace, Trace, kept_to
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.deliveries import Delivery
from drumkeep.storage.tables.drums import Event
from drumkeep.storage.tables.photos import Photo
from drumkeep.storage.transaction import Tx

VERSION: Final = 1

POINT: Final = ("at", "air_c", "bottom_c", "mean_c", "top_c", "low_c", "high_c", "known")
"""What the numbers of a point are, in order."""


def record_of(
    tx: Tx,
    trace: Trace,
    *,
    findings: Mapping[int, Sequence[SupplierFinding]],
    deliveries: Mapping[int, Delivery],
    photos: Sequence[Photo],
    by: str,
    now: datetime,
) -> dict[str, Any]:
    """Return the record of a claim for drums of one lot.

    Parameters
    ----------
    tx
        Any transaction.
    trace
        The drums.
    findings, deliveries
        What was found in each, and what it came with, by drum id.
    photos
        Of all of them.
    by, now
        Who makes the claim, and when.
    """
    lot, row, _ = trace.lots[0]
    product = as_product(row)
    named = places_named(event for drum in trace.drums for event in drum.events)
    ground = read_ground(tx, around=named)
    names = {place.id: place.name for place in ground.places.values()}
    return {
        "version": VERSION,
        "made_at": _text(now),
        "made_by": by,
        "product": {"code": row.code, "name": row.name, "side": row.side},
        "lot": {
            "code": lot.code,
            "made_on": lot.made_on.isoformat(),
            "expires_on": None if lot.expires_on is None else lot.expires_on.isoformat(),
        },
        "limits": [{"name": name, "c": c, "origin": origin} for name, c, origin in kept_to(row)],
        "places": {str(place): names[place] for place in sorted(named)},
        "drums": [
            _drum(
                tx,
                drum,
                ground=ground,
                product=product,
                findings=findings[drum.row.drum.id],
                delivery=deliveries.get(drum.row.drum.id),
                now=now,
            )
            for drum in trace.drums
        ],
        "photos": [
            {
                "id": str(photo.key),
                "shows": photo.shows,
                "note": photo.note,
                "at": _text(photo.at),
                "by": photo.by,
                "taken": photo.taken,
                "sha256": photo.sha256,
                "source_sha256": photo.source_sha256,
            }
            for photo in photos
        ],
        "sensors": [
            {
                "name": told.sensor.name,
                "place": told.place.name,
                "since": _text(told.mount.since),
                "until": _text(told.mount.until),
                "error_k": told.sensor.error_k,
                "calibrations": [
                    {"since": _text(c.since), "gain": c.gain, "offset": c.offset}
                    for c in told.calibrations
                ],
            }
            for told in trace.sensors
        ],
        "doubts": [
            {
                "kind": alarm.kind,
                "place": None if alarm.place_id is None else names.get(alarm.place_id),
                "since": _text(alarm.raised_at),
                "until": _text(alarm.returned_at),
            }
            for alarm in trace.doubts
        ],
    }


def _drum(
    tx: Tx,
    drum: DrumTrace,
    *,
    ground: Ground,
    product: Product,
    findings: Sequence[SupplierFinding],
    delivery: Delivery | None,
    now: datetime,
) -> dict[str, Any]:
    row = drum.row
    by_event = {event.id: event for event in drum.events}
    return {
        "tag": row.drum.tag,
        "site": row.site.name,
        "zone": row.site.timezone,
        "received_at": _text(row.drum.received_at),
        "ended": row.drum.ended,
        "label": {} if delivery is None else dict(delivery.label),
        "findings": [
            {
                "what": list(found.what),
                "when": found.when.value,
                "at": _text(found.event.at),
                "recorded_at": _text(found.event.recorded_at),
                "by": by_event[found.event.id].by,
                "note": found.event.note,
            }
            for found in findings
        ],
        "stays": [_stay(stay) for stay in drum.stays],
        "events": [_event(event) for event in drum.events],
        "temperature": _temperature(tx, drum, ground=ground, product=product, now=now),
    }


def _stay(stay: StayTrace) -> dict[str, Any]:
    span = stay.span
    return {
        "place": stay.place.name,
        "kind": stay.place.kind,
        "site": stay.site.name,
        "since": _text(stay.since),
        "until": _text(stay.until),
        "hours": _round(span.hours),
        "unknown_h": _round(span.unknown_h),
        "bottom_min_c": _round(span.bottom_min_c),
        "bottom_mean_c": _round(span.bottom_mean_c),
        "bottom_max_c": _round(span.bottom_max_c),
        "low_c": _round(span.low_c),
        "high_c": _round(span.high_c),
    }


def _event(event: Event) -> dict[str, Any]:
    return {
        "kind": event.kind,
        "at": _text(event.at),
        "recorded_at": _text(event.recorded_at),
        "by": event.by,
        "data": dict(event.data),
        "note": event.note,
    }


def _temperature(
    tx: Tx, drum: DrumTrace, *, ground: Ground, product: Product, now: datetime
) -> dict[str, Any]:
    """Return our own temperature record of a drum since its receipt."""
    row, limits = drum.row, product.limits
    first, last = step_at(row.drum.received_at), step_at(_until(drum, now))
    course = course_of(tx, drum=row.drum, newest=row.estimate, ground=ground, last=last)
    points = past_of(tx, drum=row.drum, start=row.drum.received_at, end=_until(drum, now)).points
    told: dict[str, Any] = {
        "gaps": [{"since": _text(a), "until": _text(b)} for a, b in _gaps(points)],
        "points": [_point(point) for point in points],
    }
    if course is None:
        return told
    span = span_of(course, first=first, last=last)
    low = under(course, first=first, last=last, limit_c=limits.storage_low_c)
    high = over(course, first=first, last=last, limit_c=limits.storage_high_c)
    return told | {
        "hours": _round(span.hours),
        "unknown_h": _round(span.unknown_h),
        "apart_h": _round(span.apart_h),
        "bottom_min_c": _round(span.bottom_min_c),
        "bottom_mean_c": _round(span.bottom_mean_c),
        "bottom_max_c": _round(span.bottom_max_c),
        "low_c": _round(span.low_c),
        "high_c": _round(span.high_c),
        "under": _beyond(low, limits.storage_low_c),
        "over": _beyond(high, limits.storage_high_c),
    }


def _until(drum: DrumTrace, now: datetime) -> datetime:
    last = drum.stays[-1].until if drum.stays else None
    return last or now


def _beyond(hours: Beyond, limit_c: float) -> dict[str, Any]:
    return {
        "limit_c": limit_c,
        "likely_h": _round(hours.likely_h),
        "possible_h": _round(hours.possible_h),
    }


def _gaps(points: Sequence[CurvePoint]) -> list[tuple[datetime, datetime]]:
    """Return from when to when the liquid did not count as known."""
    found: list[tuple[datetime, datetime]] = []
    begun: datetime | None = None
    for point in points:
        if not point.supported:
            begun = begun or point.at
        elif begun is not None:
            found.append((begun, point.at))
            begun = None
    if begun is not None:
        found.append((begun, points[-1].at))
    return found


def _point(point: CurvePoint) -> list[Any]:
    values = (getattr(point, name) for name in POINT[1:-1])
    return [_text(point.at), *(_round(value) for value in values), point.supported]


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def _text(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat().replace("+00:00", "Z")
