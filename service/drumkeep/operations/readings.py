"""Store packs of readings: the one way in, whether they came over MQTT or HTTP."""

import logging
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from drumkeep.domain.grid import to_ms
from drumkeep.domain.readings import ArrivedPack, GatewayKey, Reading, Rejection
from drumkeep.errors import Unavailable
from drumkeep.operations.strays import Heard, keep_aside
from drumkeep.storage import arrivals, place_marks, readings, rejects, spool_marks
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.arrivals import Hanging, KnownSensor
from drumkeep.storage.readings import Key, Latest, Row
from drumkeep.storage.rejects import Refusal
from drumkeep.storage.savepoint import savepoint
from drumkeep.storage.transaction import Tx

_log = logging.getLogger(__name__)

REASONS_PER_PACK: Final = 50
"""Different reasons kept of one pack; a hostile pack could have one per record."""


@dataclass(frozen=True, slots=True)
class PackOutcome:
    """What became of one pack.

    Attributes
    ----------
    stored
        How many readings were new.
    duplicates
        How many were there already, with the same value.
    rejected
        What was not stored and why, in the order of the pack.
    """

    stored: int
    duplicates: int
    rejected: tuple[Rejection, ...]


@dataclass(frozen=True, slots=True)
class Confirmation:
    """All packs of a gateway's spool file up to and with ``upto`` are stored."""

    gateway: GatewayKey
    spool: str
    upto: int


@dataclass(frozen=True, slots=True)
class BatchOutcome:
    """What became of a batch.

    Attributes
    ----------
    packs
        In the order in which they were given.
    confirmations
        One for each spool file that had a pack in the batch; to be told once committed.
    """

    packs: tuple[PackOutcome, ...]
    confirmations: tuple[Confirmation, ...]


def record_batch(tx: Tx, *, packs: Sequence[ArrivedPack], now: datetime) -> BatchOutcome:
    """Store what can be stored of these packs, and the rest with its reason.

    Of two values of one sensor for one time the first stays; the second is refused if it differs.
    Each new reading marks the places, or the drum, where its sensor hung at that time, from the
    sensor's reading before: the straight line between the two was another one until now.

    Parameters
    ----------
    packs
        In the order in which they arrived.
    now
        When they are stored.
    """
    gateways = arrivals.gateways_of_sites(
        tx, sites={pack.gateway.site for pack in packs if pack.gateway is not None}
    )
    batch = _Batch(packs)
    for place, pack in enumerate(packs):
        if pack.gateway is not None and _id_of(gateways, pack.gateway) is None:
            batch.refuse_pack(place, _unknown_gateway(pack))
    batch.look_up(arrivals.sensors_by_name(tx, names=batch.names()))
    strangers = [
        Heard(reading, _id_of(gateways, packs[place].gateway)) for place, reading in batch.strangers
    ]
    batch.refuse_strangers(kept=keep_aside(tx, heard=strangers, now=now))
    latest = readings.newest(tx, sensor_ids=[sensor_id for sensor_id, _ in batch.wanted])
    # Later than anything its sensor has, a reading cannot be there already: nearly all are.
    batch.compare(
        readings.stored(
            tx,
            keys=[
                (sensor_id, ts)
                for sensor_id, ts in batch.wanted
                if sensor_id in latest and ts <= latest[sensor_id].ts_ms
            ],
        )
    )
    rows = batch.rows()
    readings.insert_batch(tx, rows=rows)
    readings.raise_latest(tx, rows=rows, received_ms=to_ms(now))
    _mark(tx, rows, latest)
    rejects.add(tx, refusals=batch.refusals(), now=now)
    confirmations = _confirm(tx, packs, gateways, now)
    return BatchOutcome(batch.outcomes(), confirmations)


def record_what_fits(tx: Tx, *, packs: Sequence[ArrivedPack], now: datetime) -> BatchOutcome:
    """Store a batch in which something cannot be stored for a reason that nobody foresaw.

    Halves it until the culprit stands alone, and keeps that one as refused; a message left
    unacknowledged for its content would come back for ever. All in the one transaction.

    Raises
    ------
    Unavailable
        The database is locked, full or away: nobody's fault, and nothing to halve.
    """
    try:
        with savepoint(tx):
            return record_batch(tx, packs=packs, now=now)
    except Unavailable:
        raise
    except Exception as error:  # noqa: BLE001 - whatever it is, the others must be stored
        if len(packs) == 1:
            _log.exception("A pack from %s could not be stored", packs[0].source)
            with savepoint(tx):
                return record_batch(tx, packs=[_emptied(packs[0], error)], now=now)
    half = len(packs) // 2
    first = record_what_fits(tx, packs=packs[:half], now=now)
    second = record_what_fits(tx, packs=packs[half:], now=now)
    return BatchOutcome(
        first.packs + second.packs, _latest_only(first.confirmations + second.confirmations)
    )


def _emptied(pack: ArrivedPack, error: Exception) -> ArrivedPack:
    reason = Rejection(
        None,
        "",
        type(error).__name__,
        "could not be stored",
        "See the service's log of this moment, and report it.",
    )
    return ArrivedPack(
        source=pack.source,
        gateway=pack.gateway,
        readings=(),
        rejections=(*pack.rejections, reason),
        spool=pack.spool,
        prefix=pack.prefix,
        size=pack.size,
    )


@dataclass
class _Batch:
    """The packs of one transaction and what becomes of their readings."""

    packs: Sequence[ArrivedPack]
    wanted: dict[Key, tuple[int, Reading]] = field(default_factory=dict)
    """First reading of each sensor and time, with the place of its pack."""
    strangers: list[tuple[int, Reading]] = field(default_factory=list)
    """Readings whose sensor is not registered, with the place of their pack."""

    def __post_init__(self) -> None:
        self._readings = [list(pack.readings) for pack in self.packs]
        self._rejected = [list(pack.rejections) for pack in self.packs]
        self._duplicates = [0] * len(self.packs)
        self._stored = [0] * len(self.packs)

    def refuse_pack(self, place: int, reason: Rejection) -> None:
        self._readings[place] = []
        self._rejected[place].insert(0, reason)

    def names(self) -> set[str]:
        return {reading.sensor_name for some in self._readings for reading in some}

    def look_up(self, sensors: Mapping[str, KnownSensor]) -> None:
        """Find each reading's sensor; of two readings of one sensor and time take the first."""
        for place, some in enumerate(self._readings):
            for reading in some:
                sensor = sensors.get(reading.sensor_name)
                if sensor is None:
                    self.strangers.append((place, reading))
                elif sensor.quantity != reading.quantity:
                    self._rejected[place].append(_other_quantity(reading, sensor))
                elif (first := self.wanted.get((sensor.id, reading.ts_ms))) is not None:
                    self._repeated(place, reading, first[1].value)
                else:
                    self.wanted[sensor.id, reading.ts_ms] = (place, reading)

    def refuse_strangers(self, *, kept: Collection[str]) -> None:
        """Tell of readings whose sensor is not registered, whether or not they are kept aside."""
        for place, reading in self.strangers:
            aside = reading.sensor_name in kept
            self._rejected[place].append(_unknown_sensor(reading, kept=aside))

    def compare(self, stored: Mapping[Key, float]) -> None:
        """Take out what is stored already."""
        for key, value in stored.items():
            place, reading = self.wanted.pop(key)
            self._repeated(place, reading, value)

    def _repeated(self, place: int, reading: Reading, value: float) -> None:
        if reading.value == value:
            self._duplicates[place] += 1
        else:
            self._rejected[place].append(_second_value(reading, value))

    def rows(self) -> list[Row]:
        for place, _ in self.wanted.values():
            self._stored[place] += 1
        return [
            (sensor_id, ts, reading.value) for (sensor_id, ts), (_, reading) in self.wanted.items()
        ]

    def outcomes(self) -> tuple[PackOutcome, ...]:
        return tuple(
            PackOutcome(stored, duplicates, tuple(sorted(rejected, key=_in_pack_order)))
            for stored, duplicates, rejected in zip(
                self._stored, self._duplicates, self._rejected, strict=True
            )
        )

    def refusals(self) -> list[Refusal]:
        return [
            refusal
            for pack, rejected in zip(self.packs, self._rejected, strict=True)
            if rejected
            for refusal in _refusals(pack, sorted(rejected, key=_in_pack_order))
        ]


def _in_pack_order(rejection: Rejection) -> int:
    return -1 if rejection.index is None else rejection.index


def _refusals(pack: ArrivedPack, rejected: Sequence[Rejection]) -> Iterable[Refusal]:
    """Fold the rejections of one pack that have one reason, so that one bad sensor is one row."""
    folded: dict[tuple[str, str, object], list[Rejection]] = defaultdict(list)
    for rejection in rejected:
        named = rejection.value if rejection.field == "n" else None
        folded[rejection.field, rejection.problem, named].append(rejection)
    digest = pack.digest()
    for some in list(folded.values())[:REASONS_PER_PACK]:
        first = some[0]
        yield Refusal(
            source=pack.source,
            digest=digest,
            record=first.index,
            field=first.field,
            value=first.value,
            problem=first.problem,
            mend=first.mend,
            records=len(some),
            payload=pack.prefix,
            size=pack.size,
        )


def _mark(tx: Tx, rows: Sequence[Row], latest: Mapping[int, Latest]) -> None:
    """Have the drums computed again that these readings tell of, by their place or by a strap."""
    times: dict[int, list[int]] = defaultdict(list)
    for sensor_id, ts, _ in rows:
        times[sensor_id].append(ts)
    places: dict[int, int] = {}
    drums: dict[int, int] = {}
    for mount in arrivals.mounts_of(tx, sensor_ids=times):
        first = _first_during(mount, times[mount.sensor_id])
        if first is None:
            continue
        before = latest.get(mount.sensor_id)
        if first == min(times[mount.sensor_id]) and (before is None or before.ts_ms < first):
            previous = None if before is None else before.ts_ms
        else:
            previous = readings.previous_ts(tx, sensor_id=mount.sensor_id, ts_ms=first)
        since = first if previous is None else previous
        if mount.place_id is not None:
            places[mount.place_id] = min(since, places.get(mount.place_id, since))
        elif mount.drum_id is not None:
            drums[mount.drum_id] = min(since, drums.get(mount.drum_id, since))
    place_marks.lower(tx, from_ms=places)
    drum_rows.mark(tx, from_ms=drums)


def _first_during(mount: Hanging, times: Iterable[int]) -> int | None:
    since = to_ms(mount.since)
    until = None if mount.until is None else to_ms(mount.until)
    during = (ts for ts in times if ts >= since and (until is None or ts < until))
    return min(during, default=None)


def _confirm(
    tx: Tx,
    packs: Sequence[ArrivedPack],
    gateways: Mapping[tuple[str, str], int],
    now: datetime,
) -> tuple[Confirmation, ...]:
    """Note who was heard, and how far each spool file is stored."""
    heard: set[int] = set()
    numbers: dict[tuple[GatewayKey, int, str], list[int]] = defaultdict(list)
    for pack in packs:
        gateway_id = _id_of(gateways, pack.gateway)
        if gateway_id is None or pack.gateway is None:
            continue  # what nobody registered stays in its spool until somebody does
        heard.add(gateway_id)
        if pack.spool is not None:
            numbers[pack.gateway, gateway_id, pack.spool.file].append(pack.spool.number)
    arrivals.note_heard(tx, gateway_ids=heard, now=now)
    return tuple(
        Confirmation(
            key,
            spool,
            spool_marks.advance(tx, gateway_id=gateway_id, spool=spool, numbers=some, now=now),
        )
        for (key, gateway_id, spool), some in numbers.items()
    )


def _id_of(gateways: Mapping[tuple[str, str], int], key: GatewayKey | None) -> int | None:
    return None if key is None else gateways.get((key.site, key.code))


def _latest_only(confirmations: Iterable[Confirmation]) -> tuple[Confirmation, ...]:
    return tuple({(told.gateway, told.spool): told for told in confirmations}.values())


def _unknown_gateway(pack: ArrivedPack) -> Rejection:
    return Rejection(
        None,
        "topic",
        pack.source,
        "names a site or gateway that is not registered",
        "Register the gateway; a spool will then send its packs again by itself.",
    )


def _unknown_sensor(reading: Reading, *, kept: bool) -> Rejection:
    return Rejection(
        reading.index,
        "n",
        reading.sensor_name,
        "is not registered",
        "Adopt it on the page of sensors: what it sent is kept aside."
        if kept
        else "Register a sensor under this name, then send its readings again.",
    )


def _other_quantity(reading: Reading, sensor: KnownSensor) -> Rejection:
    return Rejection(
        reading.index,
        "u",
        str(reading.quantity),
        f"is not what this sensor measures ({sensor.quantity})",
        "Send the unit of the registered sensor, or register it anew.",
    )


def _second_value(reading: Reading, value: float) -> Rejection:
    return Rejection(
        reading.index,
        "v",
        reading.value,
        f"is a second value of this sensor and time ({value:g} is stored and stays)",
        "Give each sensor one value per time.",
    )
