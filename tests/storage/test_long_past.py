"""The past of a drum over months: air by the hour from its figures, thinned or not."""

import numpy as np
import pytest

from drumkeep.domain.grid import to_ms
from drumkeep.operations import drums, history
from drumkeep.scheduler import jobs
from drumkeep.storage import retention
from drumkeep.storage.readings import hour_of
from tests.fixtures.depot import at, empty_depot, swinging

__all__ = ["empty_depot"]
pytestmark = pytest.mark.both_stores

DAYS = 16.0
DENSE = (24, 30)


@pytest.fixture(scope="module")
def kept(empty_depot, tmp_path_factory):
    """Give a depot and a drum that stood 12 days in the hall, then in the van."""
    span = {"first_h": -24.0, "last_h": DAYS * 24.0, "every_h": 1.0}
    hall = dict(swinging(mean=12.0, by=3.0, **span))
    hall |= {m / 60.0: 10.0 + m % 60 / 20.0 for m in range(DENSE[0] * 60, DENSE[1] * 60)}
    with empty_depot.copy(tmp_path_factory.mktemp("past")) as depot:
        depot.send({"hall": hall, "van": swinging(mean=2.0, by=3.0, **span)}, now=DAYS * 24.0)
        tag = depot.receive("hall", 0.0, recorded=DAYS * 24.0)
        depot.record(tag, "moved", 12 * 24.0, recorded=DAYS * 24.0, to="van")
        depot.advance(DAYS * 24.0)
        yield depot, tag


def past(depot, tag, *, first_h, last_h=DAYS * 24.0):
    with depot.looking() as tx:
        drum = drums.drum_tagged(tx, tag=tag)
        return history.past_of(tx, drum=drum, start=at(first_h), end=at(last_h))


def thin(depot):
    jobs.roll_up(depot.engine, at(DAYS * 24.0))
    with depot.writing() as tx:
        for hour in range(hour_of(to_ms(at(DENSE[0]))), hour_of(to_ms(at(DENSE[1])))):
            retention.thin(tx, hour=hour, may=lambda _sensor: True)


def test_an_hour_has_lowest_mean_and_highest_of_all_readings_also_when_they_were_thinned(kept):
    depot, tag = kept
    short, before = past(depot, tag, first_h=7 * 24.0), past(depot, tag, first_h=0.0)
    assert (short.resolution_s, list(short.hours)) == (0, [])
    assert before.resolution_s == 3600
    assert len(before.hours) == DAYS * 24.0 + 1
    assert all(point.at.minute == 0 for point in before.points)
    dense = next(hour for hour in before.hours if hour.at == at(25.5))
    assert (dense.low_c, dense.high_c) == pytest.approx((10.0, 10.0 + 59 / 20.0), abs=1e-9)
    assert dense.mean_c == pytest.approx(10.0 + 29.5 / 20.0)

    thin(depot)

    assert [hour.at for hour in past(depot, tag, first_h=0.0).hours] == [h.at for h in before.hours]
    np.testing.assert_allclose(
        [(h.low_c, h.mean_c, h.high_c) for h in past(depot, tag, first_h=0.0).hours],
        [(h.low_c, h.mean_c, h.high_c) for h in before.hours],
    )


def test_what_was_computed_is_the_same_in_either_view_and_the_air_that_of_where_it_was(kept):
    whole = past(*kept, first_h=0.0)
    found = {hour.at: hour.mean_c for hour in whole.hours}
    assert found[at(11 * 24.0 + 0.5)] == pytest.approx(12.0)
    assert found[at(13 * 24.0 + 0.5)] == pytest.approx(2.0)
    short = {p.at: p for p in past(*kept, first_h=8 * 24.0).points}
    long = {p.at: p for p in whole.points}
    both = sorted(short.keys() & long.keys())
    assert len(both) > 100
    for moment in both:
        assert long[moment].bottom_c == short[moment].bottom_c
        assert long[moment].supported == short[moment].supported
        assert long[moment].low_c == pytest.approx(short[moment].low_c, abs=0.5)
