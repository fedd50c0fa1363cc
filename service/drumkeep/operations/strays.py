"""Sensors that were heard and are not registered: kept aside, adopted with what they said.

So is what a registered sensor says by another gateway than the one it is registered with.

They are bounded in number and in readings (:mod:`drumkeep.storage.strays`). When there are too
many, those make room that have been silent longest, at least :data:`ROOM_AFTER`; what nobody has
heard for :data:`FORGOTTEN_AFTER` is forgotten.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import islice, pairwise
from statistics import median
from typing import Final

from drumkeep.domain.grid import from_ms
from drumkeep.domain.readings import OLDEST, Reading
from drumkeep.domain.sensors import name_fault
from drumkeep.errors import Fault, NotFound
from drumkeep.operations.sensors import (
    LONGEST_INTERVAL_S,
    NewMount,
    SensorChanges,
    change_sensor,
    create_sensor,
)
from drumkeep.storage import catalogue, strays
from drumkeep.storage.tables.catalogue import Sensor
from drumkeep.storage.tables.strays import Stray
from drumkeep.storage.transaction import Tx

ROOM_AFTER: Final = timedelta(days=1)
FORGOTTEN_AFTER: Final = OLDEST
"""As far back as late readings are taken."""

USUAL_INTERVAL_S: Final = 300.0
"""Taken where one reading says nothing of how often they come. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Heard:
    """A reading of a sensor that is not registered so, and the gateway that sent it."""

    reading: Reading
    gateway_id: int | None


def keep_aside(tx: Tx, *, heard: Sequence[Heard], now: datetime) -> frozenset[str]:
    """Keep readings of sensors that nobody has registered so, within bounds.

    Returns
    -------
    frozenset of str
        The names that are kept; of the others there are too many, or they are no names.
    """
    if not heard:
        return frozenset()
    by_name: dict[str, list[Heard]] = defaultdict(list)
    for one in heard:
        if name_fault(one.reading.sensor_name) is None:
            by_name[one.reading.sensor_name].append(one)
    known = strays.by_name(tx, names=by_name)
    there = strays.count(tx)
    room = max(0, strays.MOST_NAMES - there)
    if (lacking := len(by_name) - len(known) - room) > 0:
        room += strays.forget_silent(tx, before=now - ROOM_AFTER, most=lacking)
    fresh = {
        name: Stray(
            name=name,
            quantity=some[0].reading.quantity,
            gateway_id=some[0].gateway_id,
            first_heard_at=now,
            last_heard_at=now,
        )
        for name, some in islice((pair for pair in by_name.items() if pair[0] not in known), room)
    }
    strays.add(tx, rows=list(fresh.values()))
    known |= fresh
    rows = []
    full = []
    most = strays.most_readings(names=there)
    for name, row in known.items():
        fitting = [one for one in by_name[name] if one.reading.quantity == row.quantity]
        before = row.heard // strays.TRIM_EVERY
        row.last_heard_at = now
        row.heard += len(fitting)
        rows += [(row.id, one.reading.ts_ms, one.reading.value) for one in fitting]
        if row.heard > most and row.heard // strays.TRIM_EVERY > before:
            full.append(row.id)
    strays.keep(tx, rows=rows)
    strays.trim(tx, stray_ids=full, most=most)
    return frozenset(known)


def strays_over(tx: Tx) -> dict[int, int]:
    """Return which strays have more readings than each may have now, and how many that is."""
    most = strays.most_readings(names=strays.count(tx))
    return dict.fromkeys(strays.with_more(tx, than=most), most)


def age_strays(tx: Tx, *, over: Mapping[int, int], now: datetime) -> None:
    """Forget strays that nobody hears any more, and the oldest readings where there are too many.

    Parameters
    ----------
    over
        As :func:`strays_over` found: it takes its time, and need not hold writers up.
    now
        The present, UTC.
    """
    strays.forget_silent(tx, before=now - FORGOTTEN_AFTER)
    for stray_id, most in over.items():
        strays.trim(tx, stray_ids=[stray_id], most=most)


def adopt_stray(
    tx: Tx,
    *,
    stray_id: int,
    mount: NewMount | None,
    interval_s: float | None = None,
    error_k: float = 0.5,
    now: datetime,
) -> Sensor:
    """Register a stray's sensor, hung where it hung, with all that it said.

    One that is registered is taken to be connected to the gateway that it was heard by; it stays
    hung where it is.

    Parameters
    ----------
    stray_id
        Which.
    mount
        Where it hangs, since its first reading unless said otherwise; None for what hangs nowhere,
        such as a battery.
    interval_s
        How often it sends; None: as its readings show.
    error_k
        Its own error.
    now
        When it is adopted.

    Raises
    ------
    NotFound
        It is gone: adopted or forgotten by somebody else.
    Invalid
        It cannot hang there.
    """
    row = stray_of(tx, stray_id=stray_id)
    said = strays.readings_of(tx, stray_id=row.id)
    if mount is not None and mount.since is None and said:
        mount = replace(mount, since=from_ms(said[0][0]))
    gateways = catalogue.gateway_references(tx, ids=[row.gateway_id])
    if catalogue.sensor_by_name(tx, name=row.name) is not None:
        changes = SensorChanges(gateway=gateways.get(row.gateway_id or 0))
        return change_sensor(tx, name=row.name, changes=changes, now=now)
    return create_sensor(
        tx,
        name=row.name,
        quantity=row.quantity,
        interval_s=interval_s or usual_interval_s([ts for ts, _ in said]),
        gateway=gateways.get(row.gateway_id or 0),
        error_k=error_k,
        mount=mount,
        now=now,
    )


def forget_stray(tx: Tx, *, stray_id: int) -> None:
    """Let a stray and what it said go; if it is heard again it is kept again.

    Raises
    ------
    NotFound
        It is gone already.
    """
    strays.forget(tx, row=stray_of(tx, stray_id=stray_id))


def stray_of(tx: Tx, *, stray_id: int) -> Stray:
    """Return a stray.

    Raises
    ------
    NotFound
        It is gone: adopted or forgotten.
    """
    row = strays.stray(tx, stray_id=stray_id)
    if row is None:
        raise NotFound(
            "There is no such unregistered sensor.",
            [Fault("stray", stray_id, "is not kept", "Look at the list: it may be adopted.")],
        )
    return row


def usual_interval_s(times_ms: Sequence[int]) -> float:
    """Return how often readings come, from when they came; robust against gaps."""
    if len(times_ms) < 3:  # noqa: PLR2004 - one distance alone may be a gap
        return USUAL_INTERVAL_S
    seconds = round(median(later - earlier for earlier, later in pairwise(times_ms)) / 1000)
    return float(min(max(seconds, 1), LONGEST_INTERVAL_S))
