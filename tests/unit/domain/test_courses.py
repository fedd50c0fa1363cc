"""What a course of temperatures came to, against what is worked out by hand."""

import numpy as np
import pytest

from drumkeep.domain.courses import Course, over, span_of, under


def course(*points, known=None, coldest=None):
    """Return a course through (hour, °C), bottom, mean and top alike, 2 K either way possible."""
    hours, values = np.array(points, dtype=np.float64).T
    count = len(hours)
    return Course(
        steps=np.round(hours * 12).astype(np.int64),
        bottom=values,
        mean=values,
        top=values,
        low=values - 2.0,
        high=values + 2.0,
        known=np.ones(count, dtype=np.bool_) if known is None else np.array(known),
        coldest=np.minimum.accumulate(values) if coldest is None else np.array(coldest),
    )


def test_a_straight_rise_has_its_middle_as_its_mean_and_its_ends_as_extremes():
    span = span_of(course((0, 0.0), (10, 20.0)), first=0, last=120)
    assert (span.bottom_min_c, span.bottom_mean_c, span.bottom_max_c) == (0.0, 10.0, 20.0)
    assert (span.low_c, span.high_c, span.hours, span.apart_h) == (-2.0, 22.0, 10.0, 10.0)


def test_a_stay_between_two_points_is_read_from_the_line_between_them():
    span = span_of(course((0, 0.0), (10, 20.0)), first=24, last=48)
    assert (span.bottom_min_c, span.bottom_max_c) == pytest.approx((4.0, 8.0))


def test_the_hours_under_and_over_a_limit_are_where_the_line_crosses_it():
    rise = course((0, 0.0), (10, 20.0))
    low = under(rise, first=0, last=120, limit_c=5.0)
    assert (low.likely_h, low.possible_h) == pytest.approx((2.5, 3.5))
    high = over(rise, first=0, last=120, limit_c=15.0)
    assert (high.likely_h, high.possible_h) == pytest.approx((2.5, 3.5))


def test_there_and_back_through_a_limit_counts_both_parts():
    dip = course((0, 10.0), (4, 2.0), (8, 10.0))
    assert under(dip, first=0, last=96, limit_c=4.0).likely_h == pytest.approx(2.0)


def test_what_lay_lower_between_thinned_points_is_known_from_what_was_followed():
    thinned = course((0, 10.0), (6, 9.0), (12, 10.0), coldest=[10.0, 7.5, 7.5])
    assert span_of(thinned, first=0, last=144).bottom_min_c == 7.5
    assert span_of(thinned, first=72, last=144).bottom_min_c == 9.0


def test_time_that_was_not_known_is_told():
    partly = course((0, 5.0), (2, 5.0), (4, 5.0), (6, 5.0), known=[False, False, True, True])
    assert span_of(partly, first=0, last=72).unknown_h == 4.0


def test_of_a_time_before_anything_was_known_nothing_is_said():
    late = course((10, 5.0), (12, 5.0))
    span = span_of(late, first=0, last=60)
    assert (span.bottom_min_c, span.unknown_h) == (None, 5.0)
    unknown = course((0, np.nan), (5, np.nan))
    assert span_of(unknown, first=0, last=60).bottom_mean_c is None
