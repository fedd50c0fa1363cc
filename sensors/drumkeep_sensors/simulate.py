"""A gateway whose sensors follow curves.

History comes first, as from a truck back in coverage, then live readings. It is a gateway in all
else: real packs with real times, over the real broker, kept until the service confirms them.
"""

import logging
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from threading import Event
from typing import Final

from drumkeep_sensors.publisher import Identity, Publisher
from drumkeep_sensors.scenario import Curve, Scenario, SimulatedSensor, read_scenario
from drumkeep_sensors.spool import PackSpool
from drumkeep_wire.records import Record, Spool
from drumkeep_wire.senml import encode_pack
from drumkeep_wire.topics import Topics

_log = logging.getLogger(__name__)

PACK_RECORDS: Final = 200
PACKS_AHEAD: Final = 400
"""Packs made before the first of them is confirmed."""
STEP_S: Final = 0.2


def simulate(file: Path, *, stopping: Event, clock: Callable[[], float]) -> None:
    """Play a scenario until told to stop.

    Parameters
    ----------
    file
        The scenario, see :mod:`drumkeep_sensors.scenario`.
    stopping
        Ends it when set.
    clock
        Gives epoch seconds.

    Raises
    ------
    ScenarioError
        The scenario cannot be played.
    SpoolError
        Its state folder cannot be used.
    """
    scenario, curves = read_scenario(file)
    spool = PackSpool(file.parent / scenario.state)
    broker = scenario.broker
    publisher = Publisher(
        identity=Identity(
            host=broker.host,
            port=broker.port,
            topics=Topics(broker.root),
            site=scenario.site,
            gateway=scenario.gateway,
            username=broker.username,
            password=lambda: broker.password,
        ),
        spool=spool,
        clock=clock,
    )
    maker = PackMaker(scenario, curves, spool, started=int(clock()))
    publisher.start()
    try:
        while not stopping.is_set():
            maker.make(upto=int(clock()))
            publisher.step(wait_s=STEP_S)
    finally:
        publisher.stop()
        spool.close()


class PackMaker:
    """Reads the sensors and packs what they say.

    Parameters
    ----------
    scenario, curves
        The gateway and what its sensors read.
    spool
        Takes the packs, and knows how far they go.
    started
        Epoch second: before it lies history, read at the longer interval.
    """

    def __init__(
        self, scenario: Scenario, curves: Sequence[Curve], spool: PackSpool, *, started: int
    ) -> None:
        self._urn = scenario.urn
        self._sensors = list(zip(scenario.sensors, curves, strict=True))
        self._spool = spool
        self._started = started
        begins = scenario.history_from
        first = min(curve.begins for curve in curves) if begins is None else begins
        self._packed_to = int(first) - 1 if spool.packed_to is None else spool.packed_to

    def make(self, *, upto: int) -> None:
        """Pack the readings that are due up to an epoch second, as far as the spool has room."""
        if upto <= self._packed_to or len(self._spool.packs) >= PACKS_AHEAD:
            return
        due = sorted(self._due(upto), key=lambda record: record.time)
        room = (PACKS_AHEAD - len(self._spool.packs)) * PACK_RECORDS
        if len(due) > room:
            # Readings of one moment stay together: the next round begins after the last second.
            last = due[room].time
            due = [record for record in due if record.time < last]
            upto = int(last) - 1
        for start in range(0, len(due), PACK_RECORDS):
            number = Spool(self._urn, self._spool.file, self._spool.next_number)
            self._spool.add(encode_pack(due[start : start + PACK_RECORDS], spool=number))
        self._packed_to = upto
        if due:
            self._spool.save(packed_to=upto)
            _log.info("Packed %d readings", len(due))

    def _due(self, upto: int) -> Iterator[Record]:
        for sensor, curve in self._sensors:
            for time in self._times(sensor, upto):
                value = curve.value_at(time)
                if value is not None:
                    yield Record(sensor.name, sensor.unit, value, float(time))

    def _times(self, sensor: SimulatedSensor, upto: int) -> Iterator[int]:
        """Multiples of the interval: sensors of one interval then read at one moment."""
        history = _multiples(sensor.history_interval_s, self._packed_to, min(upto, self._started))
        live = _multiples(sensor.live_interval_s, max(self._packed_to, self._started), upto)
        yield from history
        yield from live


def _multiples(interval: int, after: int, upto: int) -> range:
    return range(after - after % interval + interval, upto + 1, interval)
