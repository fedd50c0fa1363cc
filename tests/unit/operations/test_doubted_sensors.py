"""What a doubted sensor does to drums: nothing it says counts, and nobody goes on as if it did."""

import numpy as np
import pytest

from drumkeep.domain.air import SHORT_RECORD_K
from drumkeep.domain.alarms import AlarmKind, AlarmState
from drumkeep.domain.grid import step_at
from drumkeep.operations.ground import read_ground
from drumkeep.operations.surroundings import read_places
from tests.fixtures.depot import (
    Curve,
    at,
    check_same,
    depot,
    empty_depot,
    short_sight,
    steady,
    swinging,
)

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")


def weather(*, first_h: float = -48.0, last_h: float) -> Curve:
    """Return air outdoors that swings by 12 K."""
    return swinging(first_h=first_h, last_h=last_h, mean=4.0, by=6.0)


def stuck_van(*, since: float, last_h: float) -> Curve:
    """Return the air of a van as its sensor tells it, which stands still from a time on."""
    real = swinging(first_h=-48.0, last_h=last_h, mean=2.0, by=8.0)
    return {hours: real[min(hours, since)] for hours in real}


def spiked(curve: Curve, spikes: Curve) -> Curve:
    """Return readings with others in place of some, or after them."""
    return {**curve, **spikes}


def up_to(hours: float, curve: Curve) -> Curve:
    """Return the readings up to a time."""
    return {h: c for h, c in curve.items() if h <= hours}


def air_of(depot, place: str, *, first_h: float, last_h: float):
    with depot.looking() as tx:
        first, last = step_at(at(first_h)), step_at(at(last_h))
        ids = [depot.places[place]]
        heats = read_places(tx, ground=read_ground(tx), place_ids=ids, first=first, last=last)
    return heats[ids[0]].air


def alarm_of(depot, kind: AlarmKind):
    return next((alarm for alarm in depot.alarms() if alarm.kind == kind), None)


# Stuck


def test_drums_beside_a_stuck_sensor_are_not_known_and_the_manager_is_told(depot):
    depot.send({"van": stuck_van(since=0.0, last_h=5.75), "dock": weather(last_h=5.75)}, now=5.75)
    tag = depot.receive("van", 0.0, side="resin", liquid_c=10.0)
    depot.advance(5.75)
    assert depot.estimate(tag).basis == "modelled"
    assert alarm_of(depot, AlarmKind.SENSOR_STUCK) is None

    later = stuck_van(since=0.0, last_h=9.0)
    depot.send({"van": {h: c for h, c in later.items() if h > 5.75}}, now=9.0)
    depot.send({"dock": weather(first_h=6.0, last_h=9.0)}, now=9.0)
    depot.advance(9.0)

    found = depot.estimate(tag)
    assert (found.basis, found.readiness) == ("unsupported", "unknown")
    alarm = alarm_of(depot, AlarmKind.SENSOR_STUCK)
    assert (alarm.cause, alarm.drums) == ("van", [tag])
    assert "dip before use" in alarm.message
    assert alarm_of(depot, AlarmKind.SENSOR_SILENT) is None or all(
        a.cause != "van" for a in depot.alarms() if a.kind == AlarmKind.SENSOR_SILENT
    )
    depot.check_all(9.0)

    moving = swinging(first_h=9.25, last_h=12.0, mean=2.0, by=8.0)
    depot.send({"van": moving, "dock": weather(first_h=9.25, last_h=12.0)}, now=12.0)
    depot.advance(12.0)

    assert alarm_of(depot, AlarmKind.SENSOR_STUCK).state == AlarmState.RETURNED_UNACKNOWLEDGED
    assert air_of(depot, "van", first_h=0.0, last_h=12.0).known[-1]
    depot.check_all(12.0)


def test_while_it_is_stuck_the_likely_air_stays_and_the_others_take_the_weeks_extremes(depot):
    depot.send({"van": stuck_van(since=0.0, last_h=12.0), "dock": weather(last_h=12.0)}, now=12.0)
    air = air_of(depot, "van", first_h=0.0, last_h=12.0)
    hour = 12

    assert air.known[: 6 * hour].all()
    assert not air.supported[6 * hour + 1 :].any()
    assert air.likely[-1] == pytest.approx(2.0)
    assert (air.low[-1], air.high[-1]) == pytest.approx((-6.0, 10.0))  # 2 ± 8, seen for two days


def test_what_moves_elsewhere_may_arrive_late_and_tells_all_the_same(depot):
    tag = depot.receive("van", 0.0, liquid_c=10.0)
    depot.send({"van": stuck_van(since=0.0, last_h=12.0)}, now=12.0)
    depot.advance(12.0)
    assert depot.estimate(tag).basis == "modelled"

    depot.send({"dock": weather(last_h=12.0)}, now=12.0)
    depot.advance(12.0)

    assert depot.estimate(tag).basis == "unsupported"
    depot.check_all(12.0)


def test_a_room_held_steady_is_known_whatever_the_weather_does(depot):
    steps = steady(27.0, first_h=-48.0, last_h=24.0)
    # the thermostat lets it fall by one coarse step twice on the first day, and never again
    for hours in (-40.0, -39.75, -30.0):
        steps = spiked(steps, {hours: 26.5})
    depot.send({"room": steps, "dock": weather(last_h=24.0)}, now=24.0)
    tag = depot.receive("room", 0.0, liquid_c=27.0)
    depot.advance(24.0)

    assert depot.estimate(tag).basis == "modelled"
    assert alarm_of(depot, AlarmKind.SENSOR_STUCK) is None


# Nonsense


@pytest.mark.parametrize("nonsense", [85.0, 60.0, -45.0])
def test_a_spike_hardly_moves_a_drum_and_is_kept_as_it_came(depot, nonsense):
    hall = swinging(first_h=-48.0, last_h=12.0, mean=18.0, by=2.0)
    depot.send({"hall": spiked(hall, {6.0: nonsense, 9.0: nonsense})}, now=12.0)
    tag = depot.receive("hall", 0.0, liquid_c=10.0)
    depot.advance(12.0)
    found = depot.estimate(tag)
    air = air_of(depot, "hall", first_h=0.0, last_h=12.0)

    assert found.basis == "modelled"
    assert air.likely.max() <= 20.1
    assert alarm_of(depot, AlarmKind.SENSOR_IMPLAUSIBLE) is None
    depot.check_all(12.0)


def test_a_sensor_that_speaks_nonsense_is_told_of_and_its_air_is_not_known_past_the_gap(depot):
    depot.send({"van": swinging(first_h=-48.0, last_h=0.0, mean=5.0, by=5.0)}, now=0.0)
    tag = depot.receive("van", -1.0, liquid_c=10.0)
    depot.send({"van": steady(85.0, first_h=0.25, last_h=4.0)}, now=4.0)
    depot.advance(4.0)
    air = air_of(depot, "van", first_h=-2.0, last_h=4.0)

    assert depot.estimate(tag).basis == "unsupported"
    assert depot.estimate(tag).supported_to == at(0.0)
    assert air.likely[-1] == pytest.approx(5.0)
    assert (air.low[-1], air.high[-1]) == pytest.approx((0.0, 10.0))
    alarm = alarm_of(depot, AlarmKind.SENSOR_IMPLAUSIBLE)
    assert (alarm.cause, alarm.drums) == ("van", [tag])
    depot.check_all(4.0)

    depot.send({"van": steady(5.0, first_h=4.25, last_h=8.0)}, now=8.0)
    depot.advance(8.0)
    assert alarm_of(depot, AlarmKind.SENSOR_IMPLAUSIBLE).state == (
        AlarmState.RETURNED_UNACKNOWLEDGED
    )
    depot.check_all(8.0)


def test_a_step_that_lasts_is_believed_and_both_levels_are_possible_meanwhile(depot):
    warm = steady(18.0, first_h=-48.0, last_h=6.0)
    hall = spiked(warm, steady(-15.0, first_h=6.25, last_h=12.0))
    depot.send({"hall": hall}, now=12.0)
    air = air_of(depot, "hall", first_h=0.0, last_h=12.0)
    hour = 12
    meanwhile = slice(6 * hour + 3, 6 * hour + 9)

    assert not air.known[meanwhile].any()
    assert air.supported[meanwhile].all()
    assert (air.low[meanwhile] <= -14.9).all()
    assert (air.high[meanwhile] >= 17.9 - 33.0 * 0.7).all()
    assert air.known[7 * hour :].all()
    assert (air.likely[7 * hour :] == -15.0).all()


def test_nonsense_before_a_receipt_does_not_set_its_start(depot):
    dock = spiked(steady(7.0, first_h=-48.0, last_h=0.0), {-20.0: 85.0, -10.0: 55.0, -5.0: -40.0})
    depot.send({"dock": dock, "hall": steady(7.0, first_h=-48.0, last_h=0.0)}, now=0.0)
    tag = depot.receive("hall", 0.0, liquid_c=None)

    assert depot.estimate(tag).mean_c == pytest.approx(7.0, abs=0.05)


# Neighbours


def test_of_two_that_contradict_one_another_neither_is_believed_more(depot):
    depot.hang("van-2", "van", -48.0)
    depot.send({"van": swinging(first_h=-48.0, last_h=30.0, mean=5.0, by=2.0)}, now=30.0)
    off = swinging(first_h=-48.0, last_h=30.0, mean=5.0, by=2.0)
    depot.send({"van-2": {h: c + (12.0 if h > 0.0 else 0.0) for h, c in off.items()}}, now=30.0)
    tag = depot.receive("van", -2.0, liquid_c=5.0)
    depot.advance(30.0)
    air = air_of(depot, "van", first_h=-2.0, last_h=30.0)

    assert air.supported.all()
    assert not air.known[-1]
    assert air.high[-1] - air.low[-1] == pytest.approx(12.0)
    assert air.likely[-1] == pytest.approx((air.high[-1] + air.low[-1]) / 2.0)
    # 12 K of doubt about the air leave more than 2 K in the liquid after a day
    assert depot.estimate(tag).basis == "unsupported"
    alarms = [a for a in depot.alarms() if a.kind == AlarmKind.SENSOR_IMPLAUSIBLE]
    assert [a.cause for a in alarms] == ["van"]
    assert "Neither is believed more" in alarms[0].message
    depot.check_all(30.0)


def test_one_of_three_that_stands_apart_has_no_say(depot):
    for name in ("van-2", "van-3"):
        depot.hang(name, "van", -48.0)
    true = swinging(first_h=-48.0, last_h=12.0, mean=5.0, by=2.0)
    depot.send({"van": true, "van-2": {h: c + 0.5 for h, c in true.items()}}, now=12.0)
    depot.send({"van-3": {h: c + (12.0 if h > 0.0 else 0.0) for h, c in true.items()}}, now=12.0)
    tag = depot.receive("van", -2.0, liquid_c=5.0)
    depot.advance(12.0)
    air = air_of(depot, "van", first_h=-2.0, last_h=12.0)

    assert air.known.all()
    assert air.likely[-1] == pytest.approx(true[12.0] + 0.25)
    assert depot.estimate(tag).basis == "modelled"
    assert alarm_of(depot, AlarmKind.SENSOR_IMPLAUSIBLE).cause == "van-3"
    depot.check_all(12.0)


# Records that are short


@pytest.mark.parametrize(("record_h", "wider"), [(24.0, SHORT_RECORD_K), (50.0, 0.0)])
def test_extremes_of_less_than_two_days_are_widened(depot, record_h, wider):
    depot.send({"van": swinging(first_h=-record_h, last_h=0.0, mean=5.0, by=5.0)}, now=0.0)
    air = air_of(depot, "van", first_h=-1.0, last_h=3.0)

    assert (air.low[-1], air.high[-1]) == pytest.approx((0.0 - wider, 10.0 + wider))


# Order of arrival


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_faults_leave_the_same_liquid_in_whatever_order_readings_arrive(depot, seed):
    depot.hang("van-2", "van", -48.0)
    rng = np.random.default_rng(seed)
    van = stuck_van(since=4.0, last_h=24.0)
    # it moves again at last, and jumps on the way
    van = {h: (c if h < 18.0 else c + 0.3 * (h % 2.0)) for h, c in van.items()}
    van = spiked(van, {1.0: 85.0, 2.0: 45.0, 2.25: 46.0, 20.0: -30.0})
    second = swinging(first_h=-48.0, last_h=24.0, mean=3.0, by=8.0)
    second = {h: c + (9.0 if 10.0 < h < 14.0 else 0.0) for h, c in second.items()}
    told = {"van": van, "van-2": second, "dock": weather(last_h=24.0)}
    depot.send(
        {s: {h: c for h, c in curve.items() if h <= 0.0} for s, curve in told.items()}, now=0.0
    )
    tag = depot.receive("van", 0.0, liquid_c=10.0)
    packs = [
        (name, {h: c for h, c in curve.items() if begin < h <= begin + 2.0})
        for name, curve in told.items()
        for begin in np.arange(0.0, 24.0, 2.0)
    ]
    for number, chosen in enumerate(rng.permutation(len(packs))):
        name, pack = packs[chosen]
        depot.send({name: pack}, now=24.0)
        if number % 9 == 0:
            depot.advance(24.0)
    depot.advance(24.0)

    depot.check_all(24.0)
    check_same(depot.state(tag), depot.recomputed(24.0)[tag])


def test_computed_as_readings_come_it_ends_where_one_computation_does(depot):
    van = spiked(stuck_van(since=1.0, last_h=10.0), {0.5: 85.0, 8.5: 40.0})
    dock = weather(last_h=10.0)
    both = {"van": van, "dock": dock}
    depot.send(
        {s: {h: c for h, c in curve.items() if h <= 0.0} for s, curve in both.items()}, now=0.0
    )
    depot.receive("van", 0.0, liquid_c=10.0)
    for hours in np.arange(0.5, 10.5, 0.5):
        for name, curve in both.items():
            pack = {h: c for h, c in curve.items() if hours - 0.5 < h <= hours}
            depot.send({name: pack}, now=hours)
        depot.advance(hours)

    depot.check_all(10.0)
