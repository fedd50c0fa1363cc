"""The scenario holds together, whenever the demo is first started."""

import itertools
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from drumkeep.demo import company
from drumkeep.demo.curves import outdoors_of_sites
from drumkeep.demo.stock import BATCHES
from drumkeep.demo.timetable import COLD_ZONE, Timetable, in_hours, morning, that_night
from drumkeep.domain.forecasts import AirPoint, ForecastRequest, forecast
from drumkeep.domain.products import Side
from drumkeep.thermal.stratified import EIGHTHS

STARTS = [datetime(2026, 11, 25, 15, 7, tzinfo=UTC) + timedelta(hours=h) for h in range(26)]
PLACES = {f"{place['site']}/{place['code']}" for place in company.PLACES}


def test_it_is_a_whole_company():
    kinds = Counter(place["kind"] for place in company.PLACES)

    assert len(company.SITES) == 2
    assert kinds["vehicle"] == 3
    assert kinds["rig"] >= 1
    assert kinds["dock"] >= 1
    assert kinds["warehouse"] >= 2
    assert kinds["warm_room"] >= 1
    assert sum(batch.count for batch in BATCHES) >= 60
    assert len({batch.product for batch in BATCHES}) >= 3
    assert len({batch.lot for batch in BATCHES}) >= 8


def test_what_refers_to_something_refers_to_what_is_there():
    gateways = {f"{gateway.site}/{gateway.code}" for gateway in company.GATEWAYS}
    lots = {(product, lot) for product, lot, _ in company.LOTS}

    keys = {batch.key for batch in BATCHES}
    for sensor in company.SENSORS:
        assert (sensor.place in PLACES) != (sensor.drum in keys)
    assert {sensor.gateway for sensor in company.SENSORS} == gateways
    for batch in BATCHES:
        assert (batch.product, batch.lot) in lots
        assert {batch.place, batch.origin or batch.place} <= PLACES
        assert {deed.fields["to"] for deed in batch.deeds if deed.kind == "moved"} <= PLACES


def test_every_place_has_air():
    hung = {sensor.place for sensor in company.SENSORS if sensor.what == "air"}

    assert hung == PLACES


def test_keys_sensors_and_gateways_are_told_apart():
    for names in (
        [batch.key for batch in BATCHES],
        [sensor.name for sensor in company.SENSORS],
        [gateway.urn for gateway in company.GATEWAYS],
    ):
        assert len(names) == len(set(names))


@pytest.mark.parametrize("begun", STARTS)
def test_everything_happened_within_the_history_and_in_order(begun):
    timetable = Timetable.of(begun)

    for batch in BATCHES:
        done = [deed.at(timetable) for deed in batch.deeds if deed.kind != "wanted"]
        times = [timetable.start, batch.at(timetable), *done, begun]
        assert all(earlier < later for earlier, later in itertools.pairwise(times)), batch.key


@pytest.mark.parametrize("begun", STARTS)
def test_drums_are_wanted_in_the_days_ahead(begun):
    timetable = Timetable.of(begun)
    wishes = [deed for batch in BATCHES for deed in batch.deeds if deed.kind == "wanted"]

    assert wishes
    for deed in wishes:
        assert timedelta(hours=20) < deed.at(timetable) - begun < timedelta(hours=60)


@pytest.mark.parametrize("begun", STARTS)
def test_the_van_stands_from_one_to_six_of_the_coldest_night(begun):
    timetable = Timetable.of(begun)
    zone = ZoneInfo(COLD_ZONE)

    came, went = that_night(1)(timetable), that_night(6)(timetable)

    assert came < timetable.coldest < went <= begun - timedelta(hours=1)
    assert (came.astimezone(zone).hour, went.astimezone(zone).hour) == (1, 6)


@pytest.mark.parametrize("begun", STARTS[::2])
def test_the_load_outside_reaches_the_limit_within_half_a_day_at_any_hour(begun):
    (truck,) = (sensor for sensor in company.SENSORS if sensor.place == "harrow/truck")
    (load,) = (batch for batch in BATCHES if batch.key == "truck-iso")
    outside = outdoors_of_sites(Timetable.of(begun))[company.COLD]
    assert truck.curve is not None
    assert load.liquid_c is not None
    first, *later = (
        AirPoint(h=(at - begun) / timedelta(hours=1), c=value)
        for at, value in zip(outside.times, truck.curve(outside), strict=True)
        if timedelta() <= at - begun <= timedelta(hours=13)
    )
    air = (replace(first, h=0.0), *later)
    given = ForecastRequest(Side.ISO, (load.liquid_c,) * EIGHTHS, air, hours=12.0, step_h=1.0)

    coldest = forecast(given).low_c

    limit_c, doubt_k = 10.0, 1.0
    assert coldest[1] > limit_c + doubt_k
    assert coldest[-1] < limit_c - doubt_k


def test_a_morning_is_the_first_that_is_far_enough_ahead():
    begun = STARTS[0]
    zone = ZoneInfo(COLD_ZONE)

    found = morning(after_hours=32, zone=COLD_ZONE)(Timetable.of(begun))

    assert found.astimezone(zone).hour == 6
    assert timedelta(hours=32) <= found - begun < timedelta(hours=56)


def test_a_time_in_hours_is_a_full_hour():
    found = in_hours(24.5)(Timetable.of(STARTS[0]))

    assert (found.minute, found.second) == (0, 0)
