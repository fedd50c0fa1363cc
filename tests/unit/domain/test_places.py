"""Kinds of places and how long a gap may be there."""

import pytest

from drumkeep.domain.places import (
    DEFAULT_MOTION,
    DEFAULT_STANDING,
    Crowding,
    Motion,
    PlaceKind,
    gap_limit_seconds,
)
from drumkeep.thermal.boundary import SHARES, SPEED_M_S, Setting, exposure


@pytest.mark.parametrize("kind", PlaceKind)
def test_every_kind_has_films_by_default(kind):
    films = exposure(Setting(motion=DEFAULT_MOTION[kind], standing=DEFAULT_STANDING[kind]))

    assert 5.0 < films.side_w_m2k < 30.0
    assert 2.0 < films.top_w_m2k < films.side_w_m2k
    assert 2.0 < films.bottom_w_m2k < films.side_w_m2k


def test_every_word_for_motion_and_crowding_has_its_number():
    assert set(SPEED_M_S) == {motion.value for motion in Motion} - {"still"}
    assert set(SHARES) == {crowding.value for crowding in Crowding}


@pytest.mark.parametrize(
    ("kind", "interval_s", "seconds"),
    [
        (PlaceKind.VEHICLE, 300.0, 1800.0),
        (PlaceKind.VEHICLE, 900.0, 2250.0),
        (PlaceKind.WAREHOUSE, 300.0, 7200.0),
        (PlaceKind.WAREHOUSE, 3600.0, 9000.0),
    ],
)
def test_a_gap_is_30_minutes_outdoors_2_hours_indoors_or_two_and_a_half_intervals(
    kind, interval_s, seconds
):
    assert gap_limit_seconds(kind=kind, interval_s=interval_s) == seconds
