"""A gateway whose sensors follow curves.

History comes first, as from a truck back in coverage, then live readings. It is a gateway in all
else: real packs with real times, over the real broker, kept until the service confirms them.
"""

import logging
from collections.abc import Callable, Sequence
from pathlib import Path
from threading import Event
from typing import Final

import msgspec

from drumkeep_sensors.publisher import Identity, Publisher
from drumkeep_sensors.readings_spool import ReadingsSpool, Sample, SpoolFull
from drumkeep_sensors.scenario import Curve, Scenario, SimulatedSensor, read_scenario
from drumkeep_wire.topics import Topics

_log = logging.getLogger(__name__)

MOST: Final = 10_000_000
"""Readings that may wait: what is simulated is never thinned."""
AHEAD: Final = 40_000
"""Readings made before the first of them is confirmed."""
STEP_S: Final = 0.2

PLAYED: Final = "played.json"
"""How far the curves were played, and up to when all is confirmed, beside the spool."""

_START: Final = "simulated"


class _Played(msgspec.Struct):
    """Epoch seconds; None before anything."""

    upto: int | None = None
    confirmed_to: int | None = None


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
    state = file.parent / scenario.state
    spool = ReadingsSpool(state, urn=scenario.urn, most=MOST)
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
    player = Player(scenario, curves, spool, file=state / PLAYED, started=int(clock()))
    publisher.start()
    try:
        while not stopping.is_set():
            try:
                player.play(upto=int(clock()))
                spool.pack(at_once=True)
                publisher.step(wait_s=STEP_S)
            except SpoolFull as error:
                _log.error("The spool cannot be written: %s", error)
                stopping.wait(STEP_S)
    finally:
        publisher.stop()
        spool.close()


class Player:
    """Reads the sensors and keeps what they say.

    Parameters
    ----------
    scenario, curves
        The gateway and what its sensors read.
    spool
        Takes the readings.
    file
        Knows how far they go. Readings are in the spool before they are noted there: played again
        after a power cut they are the same, and the service has each once.
    started
        Epoch second: before it lies history, read at the longer interval.
    """

    def __init__(
        self,
        scenario: Scenario,
        curves: Sequence[Curve],
        spool: ReadingsSpool,
        *,
        file: Path,
        started: int,
    ) -> None:
        self._sensors = list(zip(scenario.sensors, curves, strict=True))
        self._spool = spool
        self._file = file
        self._started = started
        self._played = _read_played(file)
        begins = scenario.history_from
        first = min(curve.begins for curve in curves) if begins is None else begins
        self._upto = int(first) - 1 if self._played.upto is None else self._played.upto

    def play(self, *, upto: int) -> None:
        """Keep the readings that are due up to an epoch second, as far as there may be some."""
        room = AHEAD - self._spool.count
        if upto > self._upto and room > 0:
            due = sorted(self._due(upto), key=_time_of)
            if len(due) > room:
                # Readings of one moment stay together: the next round begins after it.
                last = due[room].since_start_s
                due = [sample for sample in due if sample.since_start_s < last]
                upto = int(last) - 1
            if due:
                self._spool.add(due, start=_START, offset_s=0.0)
                _log.info("Played %d readings", len(due))
            self._upto = upto
        if self._spool.count == 0:
            self._note(_Played(self._upto, self._upto))
        else:
            self._note(_Played(self._upto, self._played.confirmed_to))

    def _note(self, played: _Played) -> None:
        """Note how far it goes; live that is once a second at most, and no flush is worth it."""
        if played == self._played:
            return
        beside = self._file.with_suffix(".new")
        beside.write_bytes(msgspec.json.encode(played))
        beside.replace(self._file)
        self._played = played

    def _due(self, upto: int) -> list[Sample]:
        return [
            Sample(sensor.name, sensor.unit, value, float(time))
            for sensor, curve in self._sensors
            for time in self._times(sensor, upto)
            if (value := curve.value_at(time)) is not None
        ]

    def _times(self, sensor: SimulatedSensor, upto: int) -> list[int]:
        """Multiples of the interval: sensors of one interval then read at one moment."""
        history = _multiples(sensor.history_interval_s, self._upto, min(upto, self._started))
        live = _multiples(sensor.live_interval_s, max(self._upto, self._started), upto)
        return [*history, *live]


def _read_played(file: Path) -> _Played:
    try:
        return msgspec.json.decode(file.read_bytes(), type=_Played)
    except FileNotFoundError:
        return _Played()
    except msgspec.DecodeError:
        _log.exception("%s cannot be read: the curves are played from the beginning", file)
        return _Played()


def _time_of(sample: Sample) -> float:
    return sample.since_start_s


def _multiples(interval: int, after: int, upto: int) -> range:
    return range(after - after % interval + interval, upto + 1, interval)
