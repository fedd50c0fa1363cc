"""Sun that a sensor of a place measures; day in Chicago is 13 to 23 h after the beginning."""

import math

import pytest

from drumkeep.domain.grid import step_at
from drumkeep.domain.sensors import Quantity
from drumkeep.operations.ground import read_ground
from drumkeep.operations.history import ahead_of
from drumkeep.operations.places import PlaceChanges, change_place
from drumkeep.operations.surroundings import read_places
from tests.fixtures.depot import at, depot, empty_depot, short_sight, steady

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")


def sunlight(level: float, *, first_h: float, last_h: float):
    """Return readings of a sensor of the sun: about so much from 14 to 22 h, else the dark."""
    hours = steady(0.0, first_h=first_h, last_h=last_h)
    return {
        h: level * (0.95 + 0.05 * math.cos(30.0 * h)) if 14.0 <= h % 24.0 <= 22.0 else -1.0
        for h in hours
    }


def in_cold_air(depot, *, first_h=-48.0, last_h=24.0, place="dock"):
    depot.send({place: steady(2.0, first_h=first_h, last_h=last_h)}, now=last_h)


def shine(depot, level, *, first_h=-2.0, last_h=24.0, now=24.0, name="pyranometer"):
    depot.send(
        {name: sunlight(level, first_h=first_h, last_h=last_h)},
        now=now,
        quantity=Quantity.IRRADIANCE,
    )


def test_measured_sun_warms_the_drums_of_its_place_and_no_others(depot):
    in_cold_air(depot)
    in_cold_air(depot, place="hall")
    lit, roofed = depot.receive("dock", 0.0, liquid_c=5.0), depot.receive("hall", 0.0, liquid_c=5.0)
    depot.advance(22.0)
    shaded, inside = depot.estimate(lit).mean_c, depot.estimate(roofed).mean_c

    depot.hang("pyranometer", "dock", -1.0, what="sun")
    shine(depot, 700.0)
    depot.advance(22.0)

    assert depot.estimate(lit).mean_c > shaded + 3.0
    assert depot.estimate(roofed).mean_c == inside
    depot.check_all(22.0)


def test_late_sun_gives_what_it_would_have_given_in_time(depot):
    in_cold_air(depot)
    depot.hang("pyranometer", "dock", -1.0, what="sun")
    tag = depot.receive("dock", 0.0, liquid_c=5.0)
    for hours in (6.0, 16.0, 24.0):
        depot.advance(hours)
    without = depot.estimate(tag).mean_c

    shine(depot, 700.0)
    depot.advance(24.0)

    assert depot.estimate(tag).mean_c != pytest.approx(without, abs=0.1)
    depot.check_all(24.0)


def test_a_dull_day_that_is_measured_is_surer_than_a_place_said_to_lie_in_the_sun(depot):
    in_cold_air(depot)
    tag = depot.receive("dock", 0.0, liquid_c=5.0)
    with depot.writing() as tx:
        change_place(tx, site="north", code="dock", changes={"sun": True})
    depot.advance(22.0)
    flagged = depot.estimate(tag)

    depot.hang("pyranometer", "dock", -1.0, what="sun")
    shine(depot, 30.0)
    depot.advance(22.0)

    dull = depot.estimate(tag)
    assert dull.high_c < flagged.high_c - 1.0
    assert dull.high_c - dull.low_c < 0.7 * (flagged.high_c - flagged.low_c)
    depot.check_all(22.0)


def test_while_no_sun_is_heard_of_it_may_be_any(depot):
    in_cold_air(depot)
    depot.hang("pyranometer", "dock", -1.0, what="sun")
    tag = depot.receive("dock", 0.0, liquid_c=5.0)
    shine(depot, 30.0)
    depot.advance(22.0)
    dull = depot.estimate(tag)

    in_cold_air(depot, first_h=24.25, last_h=48.0)
    depot.advance(46.0)  # nothing was heard of the second day's sun
    unheard = depot.estimate(tag)

    assert unheard.high_c - unheard.low_c > (dull.high_c - dull.low_c) + 2.0
    depot.check_all(46.0)


def test_a_sensor_of_the_sun_that_stands_still_by_day_and_night_is_not_believed(depot):
    in_cold_air(depot)
    depot.hang("pyranometer", "dock", -1.0, what="sun")
    tag = depot.receive("dock", 0.0, liquid_c=5.0)
    depot.send(
        {"pyranometer": steady(600.0, first_h=-0.5, last_h=24.0)},
        now=24.0,
        quantity=Quantity.IRRADIANCE,
    )
    depot.advance(12.0)  # 6 in the evening to 6 in the morning there

    stuck = depot.estimate(tag)
    sun = heat_at(depot, first=0.0, last=12.0).sun
    assert sun.top_w_m2[1, 12] == 600.0  # an hour after the beginning
    assert sun.top_w_m2[1, -1] == 0.0  # six hours of one value are too many, and it is night
    assert stuck.high_c < 25.0
    depot.check_all(12.0)


def heat_at(depot, *, first, last, place="dock"):
    with depot.looking() as tx:
        ground = read_ground(tx)
        steps = {"first": step_at(at(first)), "last": step_at(at(last))}
        where = depot.places[place]
        return read_places(tx, ground=ground, place_ids=[where], **steps)[where]


def test_what_was_measured_is_not_promised_for_tomorrow(depot):
    in_cold_air(depot)
    depot.hang("pyranometer", "dock", -1.0, what="sun")
    shine(depot, 30.0)

    heat = heat_at(depot, first=0.0, last=24.0)

    assert 29.0 < heat.sun.top_w_m2[1].max() <= 30.0
    assert heat.ahead().sun.top_w_m2[0].max() == 0.0
    assert heat.ahead().sun.top_w_m2[2].max() > 400.0


def warmest_ahead(depot, tag):
    with depot.looking() as tx:
        return max(point.high_c or 0.0 for point in ahead_of(tx, drum=depot.drum(tag), hours=24))


def test_after_a_dull_day_the_next_one_may_be_bright(depot):
    in_cold_air(depot)
    tag = depot.receive("dock", 0.0, liquid_c=5.0)
    depot.advance(24.0)
    in_the_shade = warmest_ahead(depot, tag)

    depot.hang("pyranometer", "dock", -1.0, what="sun")
    shine(depot, 30.0)
    depot.advance(24.0)

    # half of a clear winter day is 100 W/m² of the side and more: some kelvins
    assert warmest_ahead(depot, tag) > in_the_shade + 4.0


def test_a_rack_in_a_yard_takes_the_suns_measure_from_the_yard_if_it_lies_in_the_sun(depot):
    in_cold_air(depot)
    depot.hang("pyranometer", "dock", -1.0, what="sun")
    shine(depot, 300.0)
    for kind, sun, told in (("yard", True, 300.0), ("yard", False, None), ("vehicle", False, None)):
        with depot.writing() as tx:
            changes: PlaceChanges = {"kind": kind, "sun": sun, "inside": "north/dock"}
            change_place(tx, site="north", code="nook", changes=changes)
        found = heat_at(depot, first=0.0, last=24.0, place="nook").sun
        assert (None if found is None else round(found.top_w_m2[1].max(), -1)) == told
