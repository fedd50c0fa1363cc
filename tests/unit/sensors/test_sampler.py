"""Each sensor is read once in its interval, and a line that hangs holds up only itself."""

import threading
import time
from dataclasses import dataclass, field
from itertools import pairwise

import pytest

from drumkeep_sensors.drivers.driver import Driver, Unreadable
from drumkeep_sensors.drivers.opening import OpenSensor
from drumkeep_sensors.readings_spool import Sample
from drumkeep_sensors.sampler import FAILED, LATE, NOT_FINITE, Sampler, Sampling, thinned
from tests.fixtures.process import wait_until


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


@dataclass
class Scripted:
    values: list[float | str] = field(default_factory=list)
    asked: int = 0

    def read(self) -> float:
        self.asked += 1
        value = self.values[min(self.asked, len(self.values)) - 1]
        if isinstance(value, str):
            raise Unreadable(value)
        return value


def sensor(driver: Driver, name: str = "hall", interval_s: float = 10) -> OpenSensor:
    return OpenSensor(name, "Cel", interval_s, name, driver)


def taken(sampler: Sampler) -> list[Sample]:
    sampler.begin_due()
    deadline = time.monotonic() + 5
    while sampler._under_way and not all(f.done() for f in sampler._under_way.values()):
        assert time.monotonic() < deadline
        time.sleep(0.001)
    return sampler.take()


def test_one_reading_an_interval_on_a_grid_of_its_own():
    clock, driver = Clock(), Scripted([4.0])
    sampler = Sampler([sensor(driver)], clock=clock)
    times = []
    for clock.now in (1000.0, 1004.0, 1009.9, 1010.3, 1019.0, 1020.0, 1047.0, 1049.0, 1050.0):
        times += [sample.since_start_s for sample in taken(sampler)]
    sampler.close()

    # Late by 0.3 s it is not late for ever, and what was slept through is not bunched.
    assert times == [1000.0, 1010.3, 1020.0, 1047.0, 1050.0]
    assert driver.asked == 5


@dataclass
class Slow:
    """Answers when it is let, as a line does that is slow."""

    answers: threading.Event = field(default_factory=threading.Event)

    def read(self) -> float:
        assert self.answers.wait(5)
        return 4.0


def test_nothing_is_read_right_behind_a_reading_that_came_late():
    clock, line = Clock(), Slow()
    sampler = Sampler([sensor(line)], clock=clock)
    sampler.begin_due()
    clock.now = 1009.9995
    line.answers.set()
    sampler._under_way[0].result(5)
    times = [sample.since_start_s for sample in sampler.take()]
    for clock.now in (1010.0, 1015.0, 1020.0, 1030.0):
        times += [sample.since_start_s for sample in taken(sampler)]
    sampler.close()

    # Two of one millisecond would be one to the service.
    assert times == [1009.9995, 1020.0, 1030.0]


def test_what_is_no_reading_is_counted_and_not_given():
    clock = Clock()
    sampler = Sampler([sensor(Scripted(["wet", "wet", float("nan"), 5.0]))], clock=clock)
    values = []
    for _ in range(4):
        values += [sample.value for sample in taken(sampler)]
        clock.now += 10
    sampler.close()

    assert values == [5.0]
    assert sampler.kept_out == {("hall", "wet"): 2, ("hall", NOT_FINITE): 1}


def test_a_line_that_hangs_holds_up_only_itself():
    clock, freed = Clock(), threading.Event()

    class Hanging:
        def read(self) -> float:
            freed.wait(10)
            return 1.0

    sampler = Sampler([sensor(Hanging(), "slow"), sensor(Scripted([2.0]), "quick")], clock=clock)
    sampler.begin_due()
    clock.now += 10
    sampler.begin_due()
    deadline = time.monotonic() + 5
    found: list[Sample] = []
    while len(found) < 1 and time.monotonic() < deadline:
        found += sampler.take()
    freed.set()
    sampler.close()

    assert [sample.name for sample in found] == ["quick"]
    assert sampler.kept_out["slow", LATE] == 1


def test_sampling_goes_on_while_nobody_takes_what_was_read():
    driver = Scripted([4.0])
    sampling = Sampling(
        Sampler([sensor(driver, interval_s=0.05)], clock=time.monotonic), step_s=0.2
    )
    time.sleep(1.0)  # as long as a card may take to flush what was read before
    samples = sampling.take()
    sampling.close()

    times = [sample.since_start_s for sample in samples]
    assert len(times) >= 8  # of 20, on a machine that may be busy
    assert max(later - earlier for earlier, later in pairwise(times)) < 0.5


def test_what_was_read_before_the_end_can_be_taken_after_it():
    sampling = Sampling(Sampler([sensor(Scripted([4.0]))], clock=time.monotonic), step_s=0.01)
    deadline = time.monotonic() + 5
    while not sampling._taken:
        assert time.monotonic() < deadline
        time.sleep(0.01)
    sampling.close()

    assert [sample.value for sample in sampling.take()] == [4.0]


def test_what_was_read_and_not_looked_at_yet_is_not_lost_with_the_end():
    sampler = Sampler([sensor(Scripted([4.0]))], clock=time.monotonic)
    sampling = Sampling(sampler, step_s=5)
    wait_until(
        lambda: any(future.done() for future in sampler._under_way.values()), "it has been read"
    )
    assert sampling.take() == []
    sampling.close()

    assert [sample.value for sample in sampling.take()] == [4.0]


def test_a_driver_that_fails_as_nobody_foresaw_is_told_and_the_others_are_read():
    class Broken:
        def read(self) -> float:
            raise ZeroDivisionError("by a library")

    clock = Clock()
    sampler = Sampler([sensor(Broken(), "dock"), sensor(Scripted([4.0]))], clock=clock)
    assert [sample.name for sample in taken(sampler)] == ["hall"]
    clock.now += 10
    assert [sample.name for sample in taken(sampler)] == ["hall"]
    sampler.close()

    assert sampler.kept_out == {("dock", f"{FAILED} (ZeroDivisionError: by a library)"): 2}


def test_what_ends_the_sampling_ends_the_gateway():
    times = iter([0.0, 0.0])  # then there is none, which is no fault of a sensor

    sampling = Sampling(Sampler([sensor(Scripted([4.0]))], clock=lambda: next(times)), step_s=0.01)
    sampling._thread.join(5)

    with pytest.raises(StopIteration):
        sampling.take()
    sampling.close()


def test_too_much_for_the_memory_is_thinned_by_sensor_in_the_older_half(monkeypatch):
    monkeypatch.setattr("drumkeep_sensors.sampler.MOST_IN_MEMORY", 7)
    samples = [Sample(name, "Cel", 4.0, float(i)) for i in range(4) for name in ("a", "b")]

    left = [(sample.name, sample.since_start_s) for sample in thinned(samples)]
    # Every second of all, whoever it is of, would have left nothing of b.
    assert left == [("a", 0), ("b", 0), ("a", 2), ("b", 2), ("a", 3), ("b", 3)]
    assert thinned(samples[:7]) == samples[:7]
