"""Each job may run late or twice: it does what there is to do, once."""

from datetime import timedelta

import pytest

from drumkeep.domain.grid import step_at
from drumkeep.scheduler import jobs, rounds
from drumkeep.scheduler.jobs import THINNED_STEPS
from drumkeep.storage import estimates, place_marks
from tests.fixtures.depot import at, depot, empty_depot, short_sight, steady

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")


def test_advancing_twice_changes_nothing_the_second_time(depot):
    depot.night()
    tag = depot.receive("van", 0.0, liquid_c=21.0)
    rounds.advance(depot.engine, at(8.0))
    estimate, alarms = depot.estimate(tag), depot.alarms()
    assert alarms

    rounds.advance(depot.engine, at(8.0))

    assert depot.estimate(tag) == estimate
    assert depot.alarms() == alarms


def test_advancing_late_equals_advancing_in_time(depot):
    depot.night()
    depot.receive("van", 0.0, liquid_c=21.0)
    for hours in (0.1, 0.5, 3.0, 11.7):
        rounds.advance(depot.engine, at(hours))
        depot.check_all(hours)


def test_readings_of_places_without_drums_are_settled_too(depot):
    depot.night()
    with depot.looking() as tx:
        assert place_marks.standing(tx)

    rounds.advance(depot.engine, at(1.0))

    with depot.looking() as tx:
        assert not place_marks.standing(tx)


def test_alarms_are_not_looked_at_while_drums_wait_to_be_computed(depot):
    depot.night()
    depot.receive("van", 0.0, liquid_c=21.0)
    rounds.evaluate(depot.engine, at(9.0))
    assert not depot.alarms()

    rounds.advance(depot.engine, at(9.0))

    assert depot.alarms()


def test_silence_is_noticed_though_no_drum_is_computed(depot):
    depot.send({"van": steady(20.0, first_h=-2.0, last_h=0.0)}, now=0.0)
    rounds.advance(depot.engine, at(0.0))
    before = {alarm.cause for alarm in depot.alarms()}

    rounds.evaluate(depot.engine, at(2.0))

    assert {alarm.cause for alarm in depot.alarms()} - before == {"van"}


def test_old_checkpoints_are_thinned_to_one_in_six_hours_and_the_past_stays_exact(
    depot, monkeypatch
):
    monkeypatch.setattr(jobs, "KEPT_WHOLE", timedelta(hours=12))  # two weeks would take a minute
    depot.night(hours=36.0)
    tag = depot.receive("van", 0.0, liquid_c=20.0)
    rounds.advance(depot.engine, at(36.0))
    border = step_at(at(24.0))

    def steps():
        drum_id = depot.drum(tag).id
        with depot.looking() as tx:
            kept = estimates.checkpoints_between(tx, drum_id=drum_id, first=0, last=2**31 - 1)
        return [row.step for row in kept]

    before = steps()
    jobs.thin(depot.engine, at(36.0))
    kept = steps()

    assert [s for s in kept if s >= border] == [s for s in before if s >= border]
    assert [s % THINNED_STEPS for s in kept if s < border] == [0, 0, 0]
    jobs.thin(depot.engine, at(36.0))
    assert steps() == kept
    # what changes in the thinned past is computed from the checkpoint before it, to the same
    depot.record(tag, "weighed", 10.0, recorded=36.0, net_kg=100.0)
    depot.check_all(36.0)


def test_two_weeks_are_kept_whole():
    assert timedelta(days=14) == jobs.KEPT_WHOLE
    assert THINNED_STEPS == 6 * 12
