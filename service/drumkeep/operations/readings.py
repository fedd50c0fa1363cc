"""Store packs of readings: the one way in, whether they came over MQTT or HTTP."""

import logging
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from drumkeep.domain.grid import to_ms
from drumkeep.domain.readings import ArrivedPack, GatewayKey, Rejection
from drumkeep.errors import Unavailable
from drumkeep.operations.gateway_clocks import note_clocks
from drumkeep.operations.readings_batch import Batch, Timed
from drumkeep.operations.strays import Heard, keep_aside
from drumkeep.storage import arrivals, place_marks, readings, rejects, spool_marks
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.arrivals import Hanging
from drumkeep.storage.readings import Latest
from drumkeep.storage.savepoint import savepoint
from drumkeep.storage.transaction import Tx

_log = logging.getLogger(__name__)


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
    senders = [_id_of(gateways, pack.gateway) for pack in packs]
    batch = Batch(
        packs,
        senders=senders,
        refused={
            place: _unknown_gateway(pack)
            for place, (pack, sender) in enumerate(zip(packs, senders, strict=True))
            if sender is None and pack.gateway is not None
        },
    )
    batch.look_up(arrivals.sensors_by_name(tx, names=batch.names()))
    strangers = [Heard(reading, senders[place]) for place, reading in batch.strangers]
    batch.refuse_strangers(kept=keep_aside(tx, heard=strangers, now=now))
    latest = readings.newest(tx, sensor_ids=batch.sensor_ids())
    batch.compare(readings.stored(tx, keys=batch.doubtful(latest)))
    new = batch.series()
    readings.insert_batch(tx, rows=[(one, *timed) for one, some in new.items() for timed in some])
    ends = [(one, *some[end]) for one, some in new.items() for end in (0, -1)]
    readings.raise_latest(tx, rows=ends, received_ms=to_ms(now))
    _mark(tx, new, latest)
    rejects.add(tx, refusals=batch.refusals(), now=now)
    note_clocks(tx, packs=packs, senders=senders, now=now)
    confirmations = _confirm(tx, packs, senders, now)
    return BatchOutcome(tuple(PackOutcome(*told) for told in batch.outcomes()), confirmations)


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


def _mark(tx: Tx, new: Mapping[int, Sequence[Timed]], latest: Mapping[int, Latest]) -> None:
    """Have the drums computed again that these readings tell of, by their place or by a strap.

    Parameters
    ----------
    new
        By sensor, in order of time.
    """
    times = {sensor_id: [ts for ts, _ in some] for sensor_id, some in new.items()}
    late = {
        sensor_id: some[0]
        for sensor_id, some in times.items()
        if sensor_id in latest and latest[sensor_id].ts_ms >= some[0]
    }
    before = {sensor_id: one.ts_ms for sensor_id, one in latest.items() if sensor_id not in late}
    before |= readings.previous(tx, before=late)
    places: dict[int, int] = {}
    drums: dict[int, int] = {}
    for mount in arrivals.mounts_of(tx, sensor_ids=times):
        some = times[mount.sensor_id]
        first = _first_during(mount, some)
        if first is None:
            continue
        if first == some[0]:
            previous = before.get(mount.sensor_id)
        else:
            previous = readings.previous_ts(tx, sensor_id=mount.sensor_id, ts_ms=first)
        since = first if previous is None else previous
        if mount.place_id is not None:
            places[mount.place_id] = min(since, places.get(mount.place_id, since))
        elif mount.drum_id is not None:
            drums[mount.drum_id] = min(since, drums.get(mount.drum_id, since))
    place_marks.lower(tx, from_ms=places)
    drum_rows.mark(tx, from_ms=drums)


def _first_during(mount: Hanging, times: Sequence[int]) -> int | None:
    """Return the first of these times, which ascend, at which a sensor hung there."""
    since = to_ms(mount.since)
    first = next((ts for ts in times if ts >= since), None)
    ended = first is not None and mount.until is not None and first >= to_ms(mount.until)
    return None if ended else first


def _confirm(
    tx: Tx, packs: Sequence[ArrivedPack], senders: Sequence[int | None], now: datetime
) -> tuple[Confirmation, ...]:
    """Note who was heard, and how far each spool file is stored.

    What nobody registered stays in its spool until somebody does.
    """
    arrivals.note_heard(tx, gateway_ids={one for one in senders if one is not None}, now=now)
    numbers: dict[spool_marks.SpoolFile, list[int]] = defaultdict(list)
    keys: dict[int, GatewayKey] = {}
    for pack, sender in zip(packs, senders, strict=True):
        if sender is not None and pack.gateway is not None and pack.spool is not None:
            keys[sender] = pack.gateway
            numbers[sender, pack.spool.file].append(pack.spool.number)
    reached = spool_marks.advance(tx, stored=numbers, now=now)
    return tuple(Confirmation(keys[file[0]], file[1], upto) for file, upto in reached.items())


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
