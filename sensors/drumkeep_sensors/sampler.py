"""Reads each sensor once in its interval, by a clock that nothing sets.

Sensors that share a line are read one after the other, in a thread of that line: one that hangs
holds up nothing but its line. An interval that a line misses is missed: readings are never bunched.
When to read is told by a thread of its own: cards and brokers may take their time over what was
read before.
"""

import logging
import math
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from threading import Event, Lock, Thread
from typing import Final

from drumkeep_sensors.drivers.driver import Unreadable
from drumkeep_sensors.drivers.opening import OpenSensor
from drumkeep_sensors.readings_spool import Sample

_log = logging.getLogger(__name__)

NOT_FINITE = "no finite number"
LATE = "line still busy with the reading before"
FAILED = "its driver failed"

LEAST_SPACE: Final = 0.1
"""Of its interval, between two readings of a sensor."""

MOST_IN_MEMORY: Final = 100_000
"""Samples kept in memory while nobody can keep them elsewhere; beyond it they are thinned."""


class Sampler:
    """Knows when each sensor is due.

    Parameters
    ----------
    sensors
        What to read.
    clock
        Gives seconds since the start of the board.

    Attributes
    ----------
    kept_out
        How often there was no reading, by sensor and reason.
    """

    def __init__(self, sensors: Sequence[OpenSensor], *, clock: Callable[[], float]) -> None:
        self._sensors = sensors
        self._clock = clock
        self._lanes = {
            sensor.lane: ThreadPoolExecutor(1, thread_name_prefix=sensor.lane) for sensor in sensors
        }
        self._due_at = dict.fromkeys(range(len(sensors)), clock())
        self._under_way: dict[int, Future[Sample]] = {}
        self._trouble: dict[int, str] = {}
        self.kept_out: Counter[tuple[str, str]] = Counter()

    def begin_due(self) -> None:
        """Begin to read the sensors that are due."""
        now = self._clock()
        for index, sensor in enumerate(self._sensors):
            due = self._due_at[index]
            if now < due:
                continue
            # On its own grid, whatever was missed.
            missed = math.floor((now - due) / sensor.interval_s)
            self._due_at[index] = due + (missed + 1) * sensor.interval_s
            if index in self._under_way:
                self._note(index, LATE)
            else:
                self._under_way[index] = self._lanes[sensor.lane].submit(self._read, sensor)

    def take(self) -> list[Sample]:
        """Return what was read since the last call."""
        samples = []
        for index, future in list(self._under_way.items()):
            if future.done():
                del self._under_way[index]
                try:
                    sample = future.result()
                except Unreadable as error:
                    self._note(index, str(error))
                except Exception as error:  # noqa: BLE001 - whatever it is, the others must be read
                    self._note(index, f"{FAILED} ({type(error).__name__}: {error})")
                else:
                    samples.append(sample)
                    self._space(index, sample.since_start_s)
                    self._well(index)
        return samples

    def read_all(self) -> list[Sample]:
        """Read every sensor once, and wait for it."""
        self.begin_due()
        for future in self._under_way.values():
            future.exception()
        return self.take()

    def next_due_s(self) -> float:
        """Seconds until a sensor is due."""
        return max(0.0, min(self._due_at.values()) - self._clock())

    def close(self) -> None:
        """End the threads; a reading under way is not waited for."""
        for lane in self._lanes.values():
            lane.shutdown(wait=False, cancel_futures=True)

    def _read(self, sensor: OpenSensor) -> Sample:
        value = sensor.driver.read()
        if not math.isfinite(value):
            raise Unreadable(NOT_FINITE)
        return Sample(sensor.name, sensor.unit, value, self._clock())

    def _space(self, index: int, read_at: float) -> None:
        """Leave out what would come right behind a reading that came late.

        Two readings of one millisecond are one to the service, which keeps the first.
        """
        interval_s = self._sensors[index].interval_s
        short_s = read_at + LEAST_SPACE * interval_s - self._due_at[index]
        if short_s > 0:
            self._due_at[index] += math.ceil(short_s / interval_s) * interval_s

    def _note(self, index: int, reason: str) -> None:
        name = self._sensors[index].name
        self.kept_out[name, reason] += 1
        if self._trouble.get(index) != reason:
            self._trouble[index] = reason
            _log.warning("%s: no reading: %s", name, reason)

    def _well(self, index: int) -> None:
        if self._trouble.pop(index, None) is not None:
            name = self._sensors[index].name
            missed = sum(n for (named, _), n in self.kept_out.items() if named == name)
            _log.warning("%s: reads again; %d readings were kept out so far", name, missed)


class Sampling:
    """Samples in a thread of its own until it is closed.

    Parameters
    ----------
    sampler
        What is run; nobody else may meanwhile.
    step_s
        How long nothing is looked at, at most.
    """

    def __init__(self, sampler: Sampler, *, step_s: float) -> None:
        self._sampler = sampler
        self._step_s = step_s
        self._stopping = Event()
        self._lock = Lock()
        self._taken: list[Sample] = []
        self._failure: Exception | None = None
        self._thread = Thread(target=self._run, name="sampling", daemon=True)
        self._thread.start()

    def take(self) -> list[Sample]:
        """Return what was read since the last call; raise what ended the sampling, if anything."""
        if self._failure is not None:
            raise self._failure
        with self._lock:
            taken, self._taken = self._taken, []
        return taken

    def close(self) -> None:
        """End it; what was read by then can still be taken."""
        self._stopping.set()
        self._thread.join()
        if self._failure is None:
            self._taken += self._sampler.take()
        self._sampler.close()

    def _run(self) -> None:
        try:
            while not self._stopping.is_set():
                # In this order: what was read meanwhile is not under way when it is due again.
                samples = self._sampler.take()
                with self._lock:
                    self._taken = thinned(self._taken + samples)
                self._sampler.begin_due()
                self._stopping.wait(min(self._step_s, self._sampler.next_due_s() or self._step_s))
        except Exception as failure:  # noqa: BLE001 - told where it is seen, in the main thread
            self._failure = failure


def thinned(samples: list[Sample]) -> list[Sample]:
    """Take out every second of each sensor in the older half, if there are too many."""
    if len(samples) <= MOST_IN_MEMORY:
        return samples
    half = len(samples) // 2
    seen: Counter[str] = Counter()
    left = []
    for sample in samples[:half]:
        seen[sample.name] += 1
        if seen[sample.name] % 2:
            left.append(sample)
    return left + samples[half:]
