"""What surrounds a drum is told by the sensors nearest round it, at each time by those of then."""

import pytest

from drumkeep.domain.grid import step_at
from drumkeep.domain.sensors import Quantity
from drumkeep.operations.ground import read_ground
from drumkeep.operations.places import PlaceChanges, change_place
from drumkeep.operations.products import change_product
from drumkeep.operations.sensors import NewCalibration
from drumkeep.operations.sites import change_site
from drumkeep.operations.surroundings import read_places
from tests.fixtures.depot import MEASURED, at, check_same, depot, empty_depot, short_sight, steady

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")


# Where a drum came from


def test_late_air_of_where_a_drum_came_from_changes_its_start(depot):
    depot.send({"dock": steady(5.0, first_h=-10.0, last_h=0.0)}, now=0.0)
    depot.send({"hall": steady(18.0, first_h=-10.0, last_h=4.0)}, now=0.0)
    tag = depot.receive("hall", 0.0, liquid_c=None, origin="dock")
    depot.advance(2.0)
    cold = depot.estimate(tag).mean_c

    depot.send({"dock": steady(25.0, first_h=-48.0, last_h=-20.0)}, now=2.0)
    depot.advance(2.0)

    assert depot.estimate(tag).mean_c > cold + 5.0
    depot.check_all(2.0)


def test_the_dock_stands_in_for_where_a_drum_came_from(depot):
    depot.send({"dock": steady(7.0, first_h=-48.0, last_h=0.0)}, now=0.0)
    depot.send({"hall": steady(7.0, first_h=-48.0, last_h=0.0)}, now=0.0)

    tag = depot.receive("hall", 0.0, liquid_c=None)

    assert depot.estimate(tag).mean_c == pytest.approx(7.0, abs=1e-6)


def test_without_any_air_on_record_nothing_is_computed(depot):
    tag = depot.receive("hall", 0.0, liquid_c=None)
    depot.advance(1.0)

    found = depot.estimate(tag)
    assert (found.basis, found.bottom_c, found.readiness) == (None, None, "unknown")
    assert "dip" in str(found.verdicts["from_20"]["advice"]).lower()


# Places and their sensors


def test_only_the_drums_of_the_place_feel_its_readings(depot):
    depot.night(hours=0.0)
    tags = {place: depot.receive(place, 0.0, liquid_c=20.0) for place in MEASURED}
    depot.advance(0.25)
    before = {place: depot.estimate(tag).mean_c for place, tag in tags.items()}
    for place in ("dock", "hall", "room"):
        depot.send({place: steady(20.0, first_h=0.25, last_h=6.0)}, now=6.0)

    depot.send({"van": steady(-12.0, first_h=0.25, last_h=6.0)}, now=6.0)
    depot.advance(6.0)

    after = {place: depot.estimate(tag).mean_c for place, tag in tags.items()}
    assert after["van"] < before["van"] - 5.0
    assert all(abs(after[place] - before[place]) < 0.3 for place in ("dock", "hall", "room"))
    assert depot.estimate(tags["van"]).supported_to == at(6.0)


def test_a_place_without_sensors_takes_the_air_of_the_place_round_it(depot):
    depot.night()
    outer, inner = (depot.receive(place, 0.0, liquid_c=21.0) for place in ("hall", "nook"))
    depot.advance(6.0)

    assert depot.estimate(inner).mean_c == depot.estimate(outer).mean_c
    assert depot.estimate(inner).basis == "modelled"

    depot.send({"hall": steady(-5.0, first_h=12.25, last_h=18.0)}, now=18.0)
    depot.advance(18.0)
    assert depot.estimate(inner).mean_c == depot.estimate(outer).mean_c
    depot.check_all(18.0)


def test_a_sensor_hung_inside_tells_from_then_on_and_the_past_stays(depot):
    depot.night(hours=6.0)
    inner = depot.receive("nook", 0.0, liquid_c=21.0)
    outer = depot.receive("hall", 0.0, liquid_c=21.0)
    depot.advance(5.75)
    then = depot.state(inner)

    depot.hang("nook", "nook", 6.0)
    depot.send({"nook": steady(2.0, first_h=6.0, last_h=12.0)}, now=12.0)
    depot.send({"hall": steady(18.0, first_h=6.25, last_h=12.0)}, now=12.0)
    check_same(depot.recomputed(5.75)[inner], then)
    depot.advance(12.0)

    depot.check_all(12.0)
    assert depot.estimate(inner).mean_c < depot.estimate(outer).mean_c - 2.0

    depot.change_sensor("nook", 12.0, {"mount": None})
    depot.send({"hall": steady(18.0, first_h=12.25, last_h=15.0)}, now=15.0)
    depot.advance(15.0)
    depot.check_all(15.0)
    assert depot.estimate(inner).basis == "modelled"
    assert depot.estimate(inner).supported_to == at(15.0)


def test_a_sensor_taken_down_tells_nothing_more(depot):
    depot.night(hours=3.0)
    tag = depot.receive("van", 0.0, liquid_c=21.0)
    depot.advance(3.0)
    assert depot.estimate(tag).basis == "modelled"

    depot.change_sensor("van", 3.0, {"mount": None})
    for hours in (4.0, 9.0, 40.0):
        depot.advance(hours)
        depot.check_all(hours)
    assert depot.estimate(tag).basis == "unsupported"


def test_a_sensor_carried_to_another_place_takes_its_readings_along(depot):
    depot.night(hours=3.0)
    here, there = (depot.receive(place, 0.0, liquid_c=21.0) for place in ("van", "nook"))
    depot.advance(3.0)

    depot.hang("van", "nook", 3.0)
    depot.send({"van": steady(30.0, first_h=3.25, last_h=9.0)}, now=9.0)
    depot.advance(9.0)

    assert depot.estimate(there).mean_c > 21.5
    assert depot.estimate(here).mean_c < 21.0
    depot.check_all(9.0)


def test_two_sensors_give_their_median_and_one_alone_when_the_other_is_silent(depot):
    depot.hang("van-2", "van", -1.0)
    depot.send({"van": steady(4.0, first_h=-1.0, last_h=9.0)}, now=9.0)
    depot.send({"van-2": steady(8.0, first_h=-1.0, last_h=4.0)}, now=9.0)
    with depot.looking() as tx:
        first, last = step_at(at(0.0)), step_at(at(9.0))
        van = depot.places["van"]
        heats = read_places(tx, ground=read_ground(tx), place_ids=[van], first=first, last=last)
    air = heats[van].air

    # median of 4 and 8 while both speak; the silent one keeps its vote for the gap limit, 37.5 min
    assert set(air.likely[: 4 * 12 + 1].tolist()) == {6.0}
    assert set(air.likely[5 * 12 :].tolist()) == {4.0}
    assert air.known.all()


@pytest.mark.parametrize(
    ("place", "limit_h"),
    # design: 30 min in vehicles and outdoors, 2 h indoors, or 2.5 x the sensor's interval if more
    [("van", 2.5 * 900 / 3600), ("hall", 2.0)],
)
def test_air_counts_as_known_up_to_the_gap_limit_of_the_place(depot, place, limit_h):
    depot.send({place: steady(20.0, first_h=-48.0, last_h=0.0)}, now=0.0)
    tag = depot.receive(place, -3.0, liquid_c=20.0)

    depot.advance(limit_h)
    assert depot.estimate(tag).basis == "modelled"

    depot.advance(limit_h + 5 / 60)
    found = depot.estimate(tag)
    assert (found.basis, found.readiness) == ("unsupported", "unknown")
    assert found.supported_to == at(0.0)


def test_a_calibration_changes_the_past_from_its_time_on(depot):
    depot.night()
    tag = depot.receive("hall", 0.0, liquid_c=18.0)
    depot.advance(12.0)
    before = depot.estimate(tag).mean_c

    depot.change_sensor("hall", 12.0, {"calibration": NewCalibration(offset=10.0, since=at(4.0))})
    depot.advance(12.0)

    assert depot.estimate(tag).mean_c > before + 0.5
    depot.check_all(12.0)


def test_humidity_is_taken_from_the_sensor_that_measures_it(depot):
    depot.night()
    tag = depot.receive("hall", 0.0, liquid_c=12.0)
    depot.advance(12.0)
    assert "70 % humidity, assumed" in str(depot.estimate(tag).verdicts)

    depot.hang("damp", "hall", 11.0, what="humidity")
    depot.send({"damp": {12.0: 93.0}}, now=12.0, quantity=Quantity.HUMIDITY)
    depot.advance(12.1)

    assert "93 % humidity, measured" in str(depot.estimate(tag).verdicts)


# What changes of a place, a site or a product


def test_what_changes_the_heat_of_a_place_has_its_drums_computed_anew(depot):
    depot.night()
    tag = depot.receive("nook", 0.0, liquid_c=21.0)
    depot.advance(12.0)
    before = depot.estimate(tag).mean_c
    different: list[PlaceChanges] = [
        {"motion": "fan"},
        {"standing": "slab"},
        {"inside": "north/van"},
        {"motion": "windy"},
        {"wind_m_s": 15.0},
        {"crowding": "four"},
        {"kind": "yard"},
        {"sun": True},
    ]
    for changes in different:
        with depot.writing() as tx:
            change_place(tx, site="north", code="nook", changes=changes)
        depot.advance(12.0)

        assert depot.estimate(tag).mean_c != pytest.approx(before, abs=0.01), changes
        depot.check_all(12.0)
        before = depot.estimate(tag).mean_c


def test_the_sun_on_a_yard_goes_by_the_clock_of_its_site(depot):
    # the depot's half day is a night in Chicago, and a morning and afternoon in Tokyo
    depot.night()
    tag = depot.receive("nook", 0.0, liquid_c=5.0)
    with depot.writing() as tx:
        yard: PlaceChanges = {"kind": "yard", "sun": True, "inside": "north/van"}
        change_place(tx, site="north", code="nook", changes=yard)
    depot.advance(12.0)
    night = depot.estimate(tag).mean_c

    with depot.writing() as tx:
        change_site(tx, code="north", changes={"timezone": "Asia/Tokyo"})
    depot.advance(12.0)

    assert depot.estimate(tag).mean_c > night + 1.0
    depot.check_all(12.0)


def test_white_paint_keeps_a_yard_drum_cooler(depot):
    depot.night()
    tag = depot.receive("nook", 0.0, liquid_c=5.0)
    with depot.writing() as tx:
        change_site(tx, code="north", changes={"timezone": "Asia/Tokyo"})
        yard: PlaceChanges = {"kind": "yard", "sun": True}
        change_place(tx, site="north", code="nook", changes=yard)
    depot.advance(12.0)
    dark = depot.estimate(tag).mean_c

    with depot.writing() as tx:
        change_place(tx, site="north", code="nook", changes={"absorptance": 0.25})
    depot.advance(12.0)

    assert depot.estimate(tag).mean_c < dark - 0.5
    depot.check_all(12.0)


def test_what_changes_of_a_product_or_a_site_has_its_drums_computed_anew(depot):
    depot.night()
    tag = depot.receive("van", 0.0, side="resin", liquid_c=30.0)
    depot.advance(12.0)
    mean, pressure = depot.estimate(tag).mean_c, depot.estimate(tag).pressure_kpa

    with depot.writing() as tx:
        change_product(tx, code="resin", changes={"properties": {"specific_heat_j_kgk": 2600.0}})
    depot.advance(12.0)
    assert depot.estimate(tag).mean_c > mean + 1.0

    with depot.writing() as tx:
        change_site(tx, code="north", changes={"altitude_m": 3000.0})
    depot.advance(12.0)
    assert depot.estimate(tag).pressure_kpa != pytest.approx(pressure, abs=0.1)
    depot.check_all(12.0)
