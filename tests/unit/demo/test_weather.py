"""The weather file as the domain notes describe it (TMY3 723170), moved by whole days."""

import sys
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from drumkeep.demo.weather import (
    COLD_NIGHT,
    HOT_AFTERNOON,
    SETTLED,
    Spell,
    latest,
    moved,
    read_year,
)

NEW_YORK = ZoneInfo("America/New_York")
NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def year():
    return read_year()


# Facts of the file, counted once by hand from pvlib 0.16.1.
def test_the_coldest_hour_lies_in_the_coldest_three_days(year):
    air = [hour[1] for hour in year]

    assert len(air) == 8760
    assert (min(air), air.index(min(air))) == (-16.7, COLD_NIGHT.row)
    means = [sum(air[row : row + 72]) / 72 for row in range(len(air) - 71)]
    assert means.index(min(means)) == 800
    assert min(means) == pytest.approx(-9.460, abs=0.001)


def test_the_hottest_hour_lies_in_the_hottest_three_days(year):
    air = [hour[1] for hour in year]

    assert (max(air), air.index(max(air))) == (35.6, HOT_AFTERNOON.row)
    means = [sum(air[row : row + 72]) / 72 for row in range(len(air) - 71)]
    assert means.index(max(means)) == 4540
    assert max(means) == pytest.approx(29.206, abs=0.001)


def test_the_file_is_found_without_importing_its_package(year):
    assert year
    assert "pvlib" not in sys.modules


@pytest.mark.parametrize("hours", range(48))
def test_an_anchor_is_the_latest_such_hour_that_has_settled(hours):
    now = NOW + timedelta(hours=hours, minutes=13)

    anchor = latest(time(5), zone=NEW_YORK, now=now)

    assert anchor.astimezone(NEW_YORK).time() == time(5)
    assert SETTLED <= now - anchor < SETTLED + timedelta(days=1)


# Clocks went back on 2026-11-01 and forward on 2026-03-08 at two in the morning.
@pytest.mark.parametrize(
    "day", [datetime(2026, 11, 1, tzinfo=UTC), datetime(2026, 3, 8, tzinfo=UTC)]
)
def test_an_anchor_keeps_to_the_clock_when_clocks_change(day):
    found = {latest(time(5), zone=NEW_YORK, now=day + timedelta(hours=h)) for h in range(60)}

    assert {anchor.astimezone(NEW_YORK).time() for anchor in found} == {time(5)}


def test_rows_keep_their_distance_to_the_anchor(year):
    anchor = latest(COLD_NIGHT.clock, zone=NEW_YORK, now=NOW)

    hours = moved(
        year,
        spell=COLD_NIGHT,
        anchor=anchor,
        start=NOW - timedelta(days=5),
        end=NOW + timedelta(days=12),
    )

    by_time = {hour.at: hour.air_c for hour in hours}
    assert by_time[anchor] == -16.7
    assert all(right.at - left.at == timedelta(hours=1) for left, right in pairwise(hours))
    assert by_time[anchor - timedelta(hours=44)] == year[800][1]
    assert by_time[anchor + timedelta(hours=27)] == year[871][1]
    assert hours[0].at <= NOW - timedelta(days=5) < hours[1].at
    assert hours[-2].at < NOW + timedelta(days=12) <= hours[-1].at


def test_the_turn_of_the_year_is_passed(year):
    spell = Spell(row=0, label="01/01 01:00", clock=time(1))
    anchor = latest(spell.clock, zone=NEW_YORK, now=NOW)
    hour = timedelta(hours=1)

    hours = moved(year, spell=spell, anchor=anchor, start=anchor - hour, end=anchor + hour)

    assert [h.air_c for h in hours] == [year[-1][1], year[0][1], year[1][1]]
