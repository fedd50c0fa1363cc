"""Where a lot went, and what was at a place: the record that a dispute needs.

From a lot to each of its drums, the places they were in with the temperatures of the liquid there,
what they were poured into and on which jobs, rigs and vehicles they were; and from a place and a
span of time back to the drums and lots. Temperatures come from what was computed and is on record,
so a trace reads no readings.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from drumkeep.domain.alarms import AlarmKind
from drumkeep.domain.courses import Course, Span, span_of
from drumkeep.domain.grid import step_at
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Side
from drumkeep.errors import Conflict, Fault, Invalid
from drumkeep.operations.courses import course_of
from drumkeep.operations.ground import Ground, read_ground, read_premises
from drumkeep.operations.lots import lot_named
from drumkeep.storage import claims, drums, pulls
from drumkeep.storage import traces as rows
from drumkeep.storage.drums import StockRow
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.catalogue import Calibration, Lot, Mount, Place, Product, Sensor, Site
from drumkeep.storage.tables.drums import Event, Pour, Stay
from drumkeep.storage.transaction import Tx

MOST_DRUMS: Final = 400
"""Of one trace; a lot of more is traced drum by drum, a place over a shorter time."""

USED_AT: Final = frozenset({PlaceKind.JOB_SITE, PlaceKind.RIG})
"""Where liquid is used, not what only carries it there; jobs themselves are not on record yet."""

LIMITS: Final[Mapping[Side, tuple[str, ...]]] = {
    Side.ISO: ("storage_low_c", "storage_high_c", "seed_c", "deep_seed_c", "maximum_c"),
    Side.RESIN: ("storage_low_c", "storage_high_c", "gassing_c", "maximum_c"),
}
"""What the liquid of each side is to be kept to."""

DOUBTS: Final = (
    AlarmKind.SENSOR_SILENT,
    AlarmKind.SENSOR_STUCK,
    AlarmKind.SENSOR_IMPLAUSIBLE,
    AlarmKind.GATEWAY_OFFLINE,
    AlarmKind.GATEWAY_CLOCK,
)
"""Alarms that say that what a sensor told was missing or not believed."""


@dataclass(frozen=True, slots=True)
class StayTrace:
    """A drum in a place, as long as it was there or as far as is asked; ``span``: of its liquid."""

    place: Place
    site: Site
    since: datetime
    until: datetime | None
    span: Span


@dataclass(frozen=True, slots=True)
class PourTrace:
    """Liquid that was poured from one drum into another."""

    tag: str
    product: str
    lot: str
    at: datetime


@dataclass(frozen=True, slots=True)
class PullTrace:
    """A pull list on which a drum stands; ``wanted_at`` None: it was wanted at once."""

    pull_id: int
    wanted_at: datetime | None
    taken_at: datetime | None
    taken_by: str | None


@dataclass(frozen=True, slots=True)
class DrumTrace:
    """A drum: where it was, what happened, on which lists, and what was poured in and out."""

    row: StockRow
    stays: tuple[StayTrace, ...]
    events: tuple[Event, ...]
    poured_in: tuple[PourTrace, ...]
    poured_out: tuple[PourTrace, ...]
    pulls: tuple[PullTrace, ...]
    claim_id: int | None

    @property
    def used_at(self) -> tuple[StayTrace, ...]:
        """Where it was used."""
        return tuple(stay for stay in self.stays if stay.place.kind in USED_AT)


@dataclass(frozen=True, slots=True)
class SensorTrace:
    """A sensor of the air that drums of a trace stood in, and what corrected it."""

    place: Place
    sensor: Sensor
    mount: Mount
    calibrations: tuple[Calibration, ...]


@dataclass(frozen=True, slots=True)
class Trace:
    """Drums, and what the temperatures told of them rest on.

    ``receivers`` are drums of other lots into which liquid of these was poured, at first or second
    hand; ``doubts`` the alarms that say when what sensors told was missing or not believed.
    """

    start: datetime
    end: datetime
    drums: tuple[DrumTrace, ...]
    receivers: tuple[DrumTrace, ...]
    sensors: tuple[SensorTrace, ...]
    doubts: tuple[Alarm, ...]

    @property
    def lots(self) -> tuple[tuple[Lot, Product, int], ...]:
        """The lots of the drums, with how many of each."""
        found: dict[int, tuple[Lot, Product, int]] = {}
        for drum in self.drums:
            lot, product, count = found.get(drum.row.lot.id, (drum.row.lot, drum.row.product, 0))
            found[lot.id] = (lot, product, count + 1)
        return tuple(found.values())

    @property
    def products(self) -> tuple[Product, ...]:
        """The products of the drums and of those that took from them."""
        found = {d.row.product.id: d.row.product for d in (*self.drums, *self.receivers)}
        return tuple(found.values())


def kept_to(row: Product) -> list[tuple[str, float, str]]:
    """Return what liquid of a product is kept to: limits as name, °C, and where each comes from."""
    product = as_product(row)
    return [
        (name, getattr(product.limits, name), product.origin(name)) for name in LIMITS[product.side]
    ]


def trace_lot(tx: Tx, *, product: str, lot: str, now: datetime) -> Trace:
    """Trace a lot from its receipt on.

    Raises
    ------
    Invalid
        The product or the lot is not known.
    Conflict
        It has more drums than one trace tells of.
    """
    found = lot_named(tx, product=product, code=lot)
    return _trace(tx, drum_ids=rows.drums_of_lot(tx, lot_id=found.id), field="lot", now=now)


def trace_drums(tx: Tx, *, drum_ids: Sequence[int], now: datetime) -> Trace:
    """Trace drums from their receipt on."""
    return _trace(tx, drum_ids=drum_ids, field="drum", now=now)


def trace_place(tx: Tx, *, place_id: int, start: datetime, end: datetime, now: datetime) -> Trace:
    """Trace back what was at a place, and what lies in it, in a span of time.

    Raises
    ------
    Invalid
        The span ends before it begins.
    Conflict
        More drums were there than one trace tells of.
    """
    if end <= start:
        mend = "Give an end after the start."
        fault = Fault("end", end.isoformat(), "is not after the start", mend)
        raise Invalid("There is no such time.", [fault])
    here = read_premises(tx, around=[place_id]).fed_by(place_id)
    stays = rows.stays_at(tx, place_ids=here, start=start, end=end)
    return _trace(
        tx,
        drum_ids=list(dict.fromkeys(stay.drum_id for stay in stays)),
        field="start",
        now=now,
        only=_Only(frozenset(here), start, min(end, now)),
    )


@dataclass(frozen=True, slots=True)
class _Only:
    """Some places in a span of time, to which stays are cut."""

    places: frozenset[int]
    start: datetime
    end: datetime

    def cut(self, stay: Stay) -> Stay | None:
        until = self.end if stay.until is None else min(stay.until, self.end)
        since = max(stay.since, self.start)
        if stay.place_id not in self.places or since >= until:
            return None
        return Stay(drum_id=stay.drum_id, place_id=stay.place_id, since=since, until=until)


def _trace(
    tx: Tx, *, drum_ids: Sequence[int], field: str, now: datetime, only: _Only | None = None
) -> Trace:
    if len(drum_ids) > MOST_DRUMS:
        mend = "Trace its drums one by one, or a shorter time."
        problem = f"has {len(drum_ids)} drums, more than the {MOST_DRUMS} of one trace"
        raise Conflict("That is too much for one trace.", [Fault(field, None, problem, mend)])
    receivers = [] if only is not None else _receivers(tx, drum_ids)
    been = drums.stays_of(tx, drum_ids=[*drum_ids, *receivers])
    ground = read_ground(tx, around=[stay.place_id for stay in been])
    traced = _drums(tx, ground, drum_ids, now=now, only=only)
    others = _drums(tx, ground, receivers, now=now, only=None)
    stays = [stay for drum in (*traced, *others) for stay in drum.stays]
    start = min((stay.since for stay in stays), default=now)
    end = max((stay.until or now for stay in stays), default=now)
    return Trace(
        start=start if only is None else only.start,
        end=end if only is None else only.end,
        drums=tuple(traced),
        receivers=tuple(others),
        sensors=_sensors(ground, stays, now=now),
        doubts=_doubts(tx, stays, now=now),
    )


def _drums(
    tx: Tx, ground: Ground, drum_ids: Sequence[int], *, now: datetime, only: _Only | None
) -> list[DrumTrace]:
    if not drum_ids:
        return []
    stays: dict[int, list[Stay]] = {drum_id: [] for drum_id in drum_ids}
    for stay in drums.stays_of(tx, drum_ids=drum_ids):
        cut = stay if only is None else only.cut(stay)
        if cut is not None and not stay.origin:
            stays[stay.drum_id].append(cut)
    into, out = drums.pours_into(tx, drum_ids=drum_ids), rows.pours_from(tx, drum_ids=drum_ids)
    named = _named(tx, [*(pour.donor_id for pour in into), *(pour.drum_id for pour in out)])
    claimed = claims.of_drums(tx, drum_ids=drum_ids)
    events = drums.event_rows_of(tx, drum_ids=drum_ids)
    listed = pulls.lists_of(tx, drum_ids=drum_ids)
    found = []
    for row in drums.list_drums(tx, among=list(drum_ids), present=False, limit=None):
        key = row.drum.id
        course = course_of(
            tx,
            drum=row.drum,
            newest=row.estimate,
            ground=ground,
            first=0 if only is None else step_at(only.start),
            last=step_at(now if only is None else only.end),
        )
        found.append(
            DrumTrace(
                row=row,
                stays=tuple(
                    _stay(ground, stay, course=course, now=now)
                    for stay in sorted(stays[key], key=lambda stay: stay.since)
                ),
                events=tuple(events[key]),
                poured_in=tuple(_pour(p, named[p.donor_id]) for p in into if p.drum_id == key),
                poured_out=tuple(_pour(p, named[p.drum_id]) for p in out if p.donor_id == key),
                pulls=tuple(
                    PullTrace(pull.id, pull.wanted_at, on.taken_at, on.taken_by)
                    for on, pull in listed
                    if on.drum_id == key
                ),
                claim_id=claimed.get(key),
            )
        )
    return found


def _stay(ground: Ground, stay: Stay, *, course: Course | None, now: datetime) -> StayTrace:
    place = ground.places[stay.place_id]
    first, last = step_at(stay.since), step_at(stay.until or now)
    nothing = Span(hours=(last - first) / 12.0, unknown_h=(last - first) / 12.0, apart_h=0.0)
    return StayTrace(
        place=place,
        site=ground.sites[place.site_id],
        since=stay.since,
        until=stay.until,
        span=nothing if course is None else span_of(course, first=first, last=last),
    )


def _named(tx: Tx, drum_ids: Iterable[int]) -> dict[int, StockRow]:
    wanted = sorted(set(drum_ids))
    if not wanted:
        return {}
    return {
        row.drum.id: row for row in drums.list_drums(tx, among=wanted, present=False, limit=None)
    }


def _pour(pour: Pour, other: StockRow) -> PourTrace:
    return PourTrace(other.drum.tag, other.product.code, other.lot.code, pour.at)


def _receivers(tx: Tx, drum_ids: Sequence[int]) -> list[int]:
    """Return drums that liquid of these was poured into, and into which those, and so on."""
    found: list[int] = []
    fresh = list(drum_ids)
    while fresh:
        poured = rows.pours_from(tx, drum_ids=fresh)
        fresh = sorted({pour.drum_id for pour in poured} - {*drum_ids, *found})
        found += fresh
    return found


def _sensors(
    ground: Ground, stays: Sequence[StayTrace], *, now: datetime
) -> tuple[SensorTrace, ...]:
    """Return the sensors that told the air of stays, while they did."""
    found: dict[int, SensorTrace] = {}
    for stay in stays:
        for here in ground.enclosing(stay.place.id):
            for mount in ground.air_mounts.get(here, ()):
                if mount.since < (stay.until or now) and (mount.until or now) > stay.since:
                    found[mount.id] = SensorTrace(
                        place=ground.places[here],
                        sensor=ground.sensors[mount.sensor_id],
                        mount=mount,
                        calibrations=tuple(ground.calibrations.get(mount.sensor_id, ())),
                    )
    return tuple(sorted(found.values(), key=lambda s: (s.place.id, s.mount.since)))


def _doubts(tx: Tx, stays: Sequence[StayTrace], *, now: datetime) -> tuple[Alarm, ...]:
    """Return the alarms about sensors of the places of stays, while drums stood there."""
    if not stays:
        return ()
    told = rows.alarms_of(
        tx,
        kinds=[kind.value for kind in DOUBTS],
        site_ids=sorted({stay.site.id for stay in stays}),
        start=min(stay.since for stay in stays),
        end=max(stay.until or now for stay in stays),
    )
    return tuple(
        alarm
        for alarm in told
        if any(
            alarm.place_id in (None, stay.place.id, stay.place.inside_id)
            and alarm.site_id == stay.site.id
            and alarm.raised_at < (stay.until or now)
            and (alarm.returned_at or now) > stay.since
            for stay in stays
        )
    )
