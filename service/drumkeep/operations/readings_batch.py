"""The packs of one transaction, and what becomes of each of their readings.

Every reading of every gateway passes here; what is done for each is little, and the rest is done
for each sensor.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final

from drumkeep.domain.gateway_clocks import about
from drumkeep.domain.readings import ArrivedPack, Reading, Rejection
from drumkeep.domain.sensors import may_send
from drumkeep.storage.arrivals import KnownSensor
from drumkeep.storage.readings import Key, Latest
from drumkeep.storage.rejects import Refusal

REASONS_PER_PACK: Final = 50
"""Different reasons kept of one pack; a hostile pack could have one per record."""

_Placed = tuple[int, Reading]
"""A reading with the place of its pack in the batch."""

Timed = tuple[int, float]
"""Epoch ms and value."""


class Batch:
    """The packs of one transaction.

    Parameters
    ----------
    packs
        In the order in which they arrived.
    senders
        The id of each pack's gateway; None for what did not come from one.
    refused
        Why none of a pack's readings are taken, by its place.

    Attributes
    ----------
    strangers
        Readings whose sensor is not registered, or with another gateway.
    """

    def __init__(
        self,
        packs: Sequence[ArrivedPack],
        *,
        senders: Sequence[int | None],
        refused: Mapping[int, Rejection],
    ) -> None:
        self.strangers: list[_Placed] = []
        self._packs = packs
        self._senders = senders
        self._readings = [
            () if place in refused else pack.readings for place, pack in enumerate(packs)
        ]
        self._rejected = {
            place: list(pack.rejections) for place, pack in enumerate(packs) if pack.rejections
        }
        for place, reason in refused.items():
            self._rejected.setdefault(place, []).insert(0, reason)
        self._aside: dict[int, list[Rejection]] = defaultdict(list)
        self._duplicates: dict[int, int] = defaultdict(int)
        self._new = [len(some) for some in self._readings]
        self._firsts: dict[int, dict[int, float]] = {}
        self._sensors: dict[int, KnownSensor] = {}

    def names(self) -> set[str]:
        """Return the names of all sensors."""
        return {reading.sensor_name for some in self._readings for reading in some}

    def look_up(self, sensors: Mapping[str, KnownSensor]) -> None:
        """Find each reading's sensor; of two readings of one sensor and time take the first."""
        known = {
            name: (sensor, sensor.gateway_id, self._firsts.setdefault(sensor.id, {}))
            for name, sensor in sensors.items()
        }
        self._sensors = {sensor.id: sensor for sensor in sensors.values()}
        for place, (some, sender) in enumerate(zip(self._readings, self._senders, strict=True)):
            for reading in some:
                name, quantity, ts_ms, value, _ = reading
                if name not in known:
                    self._set_aside(place, reading)
                    continue
                sensor, registered, firsts = known[name]
                if registered != sender and not may_send(registered, sender):
                    self._set_aside(place, reading)
                elif sensor.quantity != quantity:
                    self._refuse(place, _other_quantity(reading, sensor))
                elif ts_ms in firsts:
                    self._repeat(place, reading, firsts[ts_ms])
                else:
                    firsts[ts_ms] = value

    def refuse_strangers(self, *, kept: Collection[str]) -> None:
        """Tell of readings whose sensor is not registered, or with another gateway.

        Those kept aside are told to whoever sent them and are not among what was refused: they are
        on the list of sensors to be adopted, and one of these would fill the other list.
        """
        registered = {sensor.name for sensor in self._sensors.values()}
        for place, reading in self.strangers:
            name = reading.sensor_name
            told = (_other_gateway if name in registered else _unknown_sensor)(
                reading, kept=name in kept
            )
            if name in kept:
                self._aside[place].append(told)
            else:
                self._rejected.setdefault(place, []).append(told)

    def sensor_ids(self) -> Collection[int]:
        """Return the sensors of which there is something."""
        return [sensor_id for sensor_id, firsts in self._firsts.items() if firsts]

    def doubtful(self, latest: Mapping[int, Latest]) -> list[Key]:
        """Return what may be stored already.

        Later than anything its sensor has, a reading cannot be there: nearly all are.
        """
        return [
            (sensor_id, ts)
            for sensor_id, newest in latest.items()
            if min(self._firsts[sensor_id]) <= newest.ts_ms
            for ts in self._firsts[sensor_id]
            if ts <= newest.ts_ms
        ]

    def compare(self, stored: Mapping[Key, float]) -> None:
        """Take out what is stored already."""
        if not stored:
            return
        there: dict[tuple[str, str, int], tuple[int | None, float]] = {}
        for (sensor_id, ts), value in stored.items():
            del self._firsts[sensor_id][ts]
            sensor = self._sensors[sensor_id]
            there[sensor.name, sensor.quantity, ts] = sensor.gateway_id, value
        for place, (some, sender) in enumerate(zip(self._readings, self._senders, strict=True)):
            for reading in some:
                key = reading.sensor_name, reading.quantity, reading.ts_ms
                if key not in there or not may_send(there[key][0], sender):
                    continue
                # Taken out: a second one in the batch has been told of already.
                _, value = there.pop(key)
                self._repeat(place, reading, value)

    def series(self) -> dict[int, list[Timed]]:
        """Return what is new: of each sensor that has any, by its id, times and values."""
        return {
            sensor_id: sorted(firsts.items())
            for sensor_id, firsts in sorted(self._firsts.items())
            if firsts
        }

    def outcomes(self) -> list[tuple[int, int, tuple[Rejection, ...]]]:
        """Return of each pack how many readings are new, how many repeated, and what is not."""
        return [
            (new, self._duplicates.get(place, 0), self._told(place))
            for place, new in enumerate(self._new)
        ]

    def refusals(self) -> list[Refusal]:
        """Return what is to be kept with its reason."""
        return [
            refusal
            for place, rejected in sorted(self._rejected.items())
            for refusal in _refusals(self._packs[place], sorted(rejected, key=_in_pack_order))
        ]

    def _set_aside(self, place: int, reading: Reading) -> None:
        self.strangers.append((place, reading))
        self._new[place] -= 1

    def _repeat(self, place: int, reading: Reading, value: float) -> None:
        if reading.value == value:
            self._duplicates[place] += 1
            self._new[place] -= 1
        else:
            self._refuse(place, _second_value(reading, value))

    def _refuse(self, place: int, reason: Rejection) -> None:
        self._rejected.setdefault(place, []).append(reason)
        self._new[place] -= 1

    def _told(self, place: int) -> tuple[Rejection, ...]:
        if place not in self._rejected and place not in self._aside:
            return ()
        told = self._rejected.get(place, []) + self._aside.get(place, [])
        return tuple(sorted(told, key=_in_pack_order))


def _in_pack_order(rejection: Rejection) -> int:
    return -1 if rejection.index is None else rejection.index


def _refusals(pack: ArrivedPack, rejected: Sequence[Rejection]) -> Iterable[Refusal]:
    """Fold the rejections of one pack that have one reason, so that one bad sensor is one row."""
    folded: dict[tuple[str, str, object], list[Rejection]] = defaultdict(list)
    for rejection in rejected:
        named = rejection.value if rejection.field == "n" else None
        folded[rejection.field, rejection.problem, named].append(rejection)
    for some in list(folded.values())[:REASONS_PER_PACK]:
        first = some[0]
        off = first.ahead_s
        yield Refusal(
            source=pack.source,
            # A wrong clock is wrong in every pack, and would push all else out of the list.
            digest=pack.digest(source_alone=off is not None),
            record=first.index,
            field=first.field,
            value=first.value if off is None else about(off),
            problem=first.problem,
            mend=first.mend,
            records=len(some),
            payload=pack.prefix,
            size=pack.size,
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


def _other_gateway(reading: Reading, *, kept: bool) -> Rejection:
    return Rejection(
        reading.index,
        "n",
        reading.sensor_name,
        "is registered with another gateway",
        "If it is connected to this one now, say so on the page of sensors: what it sent is kept "
        "aside."
        if kept
        else "If it is connected to this one now, change it to this gateway, then send again.",
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
