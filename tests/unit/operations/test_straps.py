"""Sensors strapped to drums: what they say counts, whenever it arrives."""

import random

import pytest

from drumkeep.domain.liquid_measured import Use
from drumkeep.operations.sensors import NewCalibration
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import measurements
from tests.fixtures.depot import (
    Depot,
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


def met(depot: Depot, tag: str) -> list[Use]:
    """What became of the readings of a drum's straps, in order of time."""
    with depot.looking() as tx:
        drum = drum_rows.drum_by_tag(tx, tag=tag)
        assert drum is not None
        rows = measurements.by_straps(tx, drum_id=drum.id, first=0, last=2**40)
        return [Use(row.use) for row in rows]


def strapped(depot: Depot, *, what: str = "liquid", liquid_c: float | None = 18.0) -> str:
    """Receive a drum into the hall, 18 °C, and strap a sensor to it at once."""
    tag = depot.receive("hall", 0.0, liquid_c=liquid_c, origin="dock")
    depot.strap("strap", tag, 0.0, what=what)
    return tag


def test_a_strap_in_the_liquid_is_followed_once_an_hour_and_the_drum_counts_as_measured(depot):
    depot.night(hours=6.0)
    tag = strapped(depot)
    depot.send({"strap": steady(19.0, first_h=0.25, last_h=6.0)}, now=6.0)
    depot.advance(6.0)

    assert met(depot, tag) == [Use.USED] * 6
    assert depot.estimate(tag).mean_c == pytest.approx(18.7, abs=0.3)
    assert depot.estimate(tag).basis == "measured"
    depot.check_all(6.0)


def test_a_strap_on_the_skin_reads_wall_and_not_liquid(depot):
    # Air 18 °C, liquid 8 °C: the wall lies between, and that is what the strap is right to say.
    depot.night(hours=12.0)
    tag = depot.receive("hall", 0.0, liquid_c=8.0)
    depot.strap("strap", tag, 9.0, what="skin")
    depot.advance(9.0)
    before = depot.estimate(tag)
    assert before.mean_c is not None
    wall = 0.5 * (before.mean_c + 18.0)
    depot.send({"strap": steady(wall, first_h=9.25, last_h=12.0)}, now=12.0)
    depot.advance(12.0)

    assert met(depot, tag) == [Use.USED] * 3
    assert depot.estimate(tag).mean_c == pytest.approx(before.mean_c + 1.5, abs=1.0)
    assert depot.estimate(tag).basis == "modelled"


def test_straps_in_time_and_straps_late_and_shuffled_give_the_same(
    depot, empty_depot, tmp_path_factory
):
    curve = swinging(first_h=0.1, last_h=8.0, mean=17.0, by=1.5, every_h=0.2)

    def begun(into: Depot) -> str:
        into.night(hours=8.0)
        return strapped(into, liquid_c=None)

    tag = begun(depot)
    for hours, c in curve.items():
        depot.send({"strap": {hours: c}}, now=hours)
        depot.advance(hours)
    depot.record(tag, "dipped", 5.0, recorded=8.0, c=16.5)
    depot.advance(8.2)

    with empty_depot.copy(tmp_path_factory.mktemp("late")) as late:
        other = begun(late)
        late.advance(3.0)
        late.record(other, "dipped", 5.0, recorded=5.1, c=16.5)
        tardy = list(curve.items())
        random.Random(7).shuffle(tardy)  # noqa: S311 - no secret
        for number, (hours, c) in enumerate(tardy):
            late.send({"strap": {hours: c}}, now=8.0)
            if number % 10 == 0:
                late.advance(8.0)
        late.advance(8.2)

        check_same(late.state(other), depot.state(tag))
        assert met(late, other) == met(depot, tag)
    depot.check_all(8.2)


def test_a_calibration_recorded_later_corrects_what_a_strap_did(depot):
    depot.night(hours=6.0)
    tag = strapped(depot)
    depot.send({"strap": steady(19.5, first_h=0.25, last_h=6.0)}, now=6.0)
    depot.advance(6.0)
    before = depot.estimate(tag).mean_c

    depot.change_sensor("strap", 6.0, {"calibration": NewCalibration(offset=-1.5, since=None)})
    depot.advance(6.5)
    depot.check_all(6.5)

    assert before is not None
    depot.change_sensor("strap", 7.0, {"unmounted_at": at(0.2)})
    depot.advance(7.0)
    depot.check_all(7.0)
    assert met(depot, tag) == []
    assert depot.estimate(tag).mean_c < before


def test_a_strap_that_fell_off_is_not_believed_and_the_drum_is_not_called_known(depot):
    depot.night(hours=6.0)
    tag = strapped(depot)
    depot.send({"strap": steady(4.0, first_h=0.25, last_h=6.0)}, now=6.0)
    depot.advance(6.0)

    assert set(met(depot, tag)) == {Use.REFUSED}
    assert depot.estimate(tag).mean_c == pytest.approx(18.0, abs=0.1)
    assert depot.estimate(tag).basis == "unsupported"
    assert depot.estimate(tag).readiness == "unknown"


def test_a_doubted_reading_of_a_strap_has_no_say(depot):
    depot.night(hours=3.0)
    tag = strapped(depot)
    curve = {**steady(18.0, first_h=0.25, last_h=3.0), 2.0: 85.0}  # a probe just switched on
    depot.send({"strap": curve}, now=3.0)
    depot.advance(3.0)

    assert met(depot, tag) == [Use.USED] * 3
    assert depot.estimate(tag).mean_c == pytest.approx(18.0, abs=0.1)
