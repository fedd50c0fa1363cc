"""A dispatcher's night: a load goes out warm, the truck is out of coverage, the news comes late.

Hours count from midnight; the load leaves at 17:00 the evening before.
"""

import pytest

from drumkeep.domain.alarms import AlarmKind, AlarmState
from drumkeep.domain.roles import Role
from drumkeep.errors import Refused
from drumkeep.operations.alarms import acknowledge
from drumkeep.operations.drums import By
from tests.fixtures.depot import at, depot, empty_depot, steady

__all__ = ["depot", "empty_depot"]

DEE = By(name="Dee", role=Role.DISPATCHER, account_id=None)
CRIS = By(name="Cris", role=Role.CREW, account_id=None)
EVENING, MORNING = -7.0, 7.0


def cold_load(depot):
    found = [a for a in depot.alarms() if a.kind == AlarmKind.COLD_LOAD]
    return found[-1] if found else None


def answer(depot, tag):
    return depot.estimate(tag).verdicts["from_20"]["answer"]


def test_the_load_sat_cold_and_is_warmed_looked_at_and_cleared(depot):
    rooms = {
        "dock": steady(18.0, first_h=-60.0, last_h=60.0),
        "hall": steady(20.0, first_h=-60.0, last_h=60.0),
        "room": steady(27.0, first_h=-60.0, last_h=60.0),
    }
    depot.send(rooms, now=60.0)
    depot.send({"van": steady(16.0, first_h=-60.0, last_h=EVENING)}, now=EVENING)

    # The load of two sets goes into the van; nothing is wrong.
    load = [
        depot.receive("hall", -30.0, side=side, liquid_c=24.0)
        for side in ("iso", "resin", "iso", "resin")
    ]
    left = depot.receive("hall", -30.0, liquid_c=24.0)
    for tag in load:
        depot.record(tag, "moved", EVENING, to="van", by=DEE)
    depot.advance(EVENING + 0.5)
    assert cold_load(depot) is None

    # Hours of silence: nothing is known of the load, so nothing of it is called ready.
    depot.advance(0.0)
    assert {depot.estimate(tag).basis for tag in load} == {"unsupported"}
    assert {depot.estimate(tag).readiness for tag in load} == {"unknown"}
    assert cold_load(depot) is None
    silent = [a for a in depot.alarms() if a.kind == AlarmKind.SENSOR_SILENT]
    assert [sorted(a.drums) for a in silent] == [sorted(load)]

    # In the morning the truck is in coverage again, and its night arrives at once.
    depot.send({"van": steady(-7.0, first_h=EVENING + 0.25, last_h=MORNING)}, now=MORNING)
    depot.advance(MORNING)
    iso = [load[0], load[2]]
    alarm = cold_load(depot)
    assert (alarm.details["phase"], sorted(alarm.drums)) == ("done", sorted(iso))
    assert "sat cold" in alarm.message
    assert {answer(depot, tag) for tag in iso} == {"LOOK FIRST"}
    assert depot.estimate(left).conditions == []

    # It is the dispatcher's alarm: not the crew's to acknowledge.
    with pytest.raises(Refused), depot.writing() as tx:
        acknowledge(tx, alarm_id=alarm.id, by=CRIS, now=at(MORNING))
    with depot.writing() as tx:
        acknowledge(tx, alarm_id=alarm.id, by=DEE, now=at(MORNING))

    # Into the warm room. Warming alone clears nothing: somebody must look to the bottom.
    for tag in load:
        depot.record(tag, "moved", MORNING + 1.0, to="room", by=CRIS)
    depot.advance(MORNING + 48.0)
    assert depot.estimate(iso[0]).bottom_low_c > 10.0
    assert answer(depot, iso[0]) == "LOOK FIRST"

    depot.record(iso[0], "inspected", MORNING + 48.0, reached_bottom=True, solids="none", by=CRIS)
    depot.record(iso[1], "inspected", MORNING + 48.0, reached_bottom=True, solids="seen", by=CRIS)
    depot.advance(MORNING + 48.25)
    clear, seeded = (depot.estimate(tag) for tag in iso)
    assert clear.conditions == []
    assert clear.readiness == "ready"
    assert (seeded.readiness, answer(depot, iso[1])) == ("on_hold", "LOOK FIRST")

    # The alarm is over, and that they were cold stays with the drums for ever.
    assert cold_load(depot).state == AlarmState.NORMAL
    assert all(depot.state(tag)["cold_total_steps"][0] > 24 for tag in iso)
    depot.check_all(MORNING + 48.25)
