"""How numbers and times read."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.domain.quantities import celsius_from_fahrenheit
from drumkeep.web.formats import Formats
from drumkeep.web.moments import NOT_KNOWN
from tests.unit.web.samples import CHICAGO, HOUR, NOW, formats

US = formats("us")
SI = formats("si")


def spoken(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("celsius", "us", "si"),
    [
        # The scales meet at -40; 10 °C and 75 °F are exact by definition of the scales.
        (-40.0, "−40 °F", "−40.0 °C"),
        (10.0, "50 °F", "10.0 °C"),
        (celsius_from_fahrenheit(75.0), "75 °F", "23.9 °C"),
        (None, NOT_KNOWN, NOT_KNOWN),
        (-0.01, "32 °F", "0.0 °C"),
    ],
)
def test_temperature_reads_in_the_viewers_unit(celsius: float | None, us: str, si: str):
    assert spoken(US.temp(celsius)) == us
    assert spoken(SI.temp(celsius)) == si


@pytest.mark.parametrize(
    ("fahrenheit", "shown"),
    [(49.7, "49.7"), (49.999, "49.9"), (50.0, "50"), (50.4, "50.4"), (51.2, "51")],
)
def test_temperature_is_never_rounded_onto_a_limit_it_has_not_reached(fahrenheit, shown):
    assert US.degrees(celsius_from_fahrenheit(fahrenheit), against=(10.0,)) == shown


@given(value=st.floats(-60, 200), limit=st.integers(0, 200))
def test_shown_temperature_lies_to_a_whole_limit_as_the_value_does(value, limit):
    c, limit_c = celsius_from_fahrenheit(value), celsius_from_fahrenheit(limit)
    shown = float(US.degrees(c, against=(limit_c,)).replace("−", "-"))
    if abs(value - limit) > 1e-6:
        assert (shown < limit) == (value < limit)
        assert (shown > limit) == (value > limit)
    assert abs(shown - value) <= 0.51


def test_span_is_one_figure_when_both_ends_read_the_same():
    assert US.span(16.0, 16.1) == "61"
    assert spoken(US.temp_span(13.9, 16.7)) == "57–62 °F"
    assert SI.span(-7.0, 2.0) == "−7.0 to 2.0"
    assert US.temp_span(None, 2.0) == NOT_KNOWN


def test_mass_and_pressure_follow_the_published_factors():
    # NIST SP 811 appendix B.8: 1 lb = 0.45359237 kg, 1 psi = 6.894757 kPa.
    assert spoken(US.mass(250.0)) == "551 lb"
    assert spoken(SI.mass(250.0)) == "250 kg"
    assert spoken(US.pressure(6.894757 * 7)) == "7.0 psi"
    assert spoken(SI.pressure(50.0)) == "50 kPa"


def test_difference_has_no_offset():
    assert spoken(US.difference(5.0)) == "9 °F"
    assert spoken(SI.difference(5.0)) == "5.0 °C"


@pytest.mark.parametrize(
    ("hours", "us", "si"),
    [
        (1.5, "2:42 am", "02:42"),
        (28.8, "tomorrow 6:00 am", "tomorrow 06:00"),
        (-3, "yesterday 10:12 pm", "yesterday 22:12"),
        (10.8, "12:00 pm", "12:00"),
        (-1.2, "12:00 am", "00:00"),
        (4 * 24, "Tue 1:12 am", "Tue 01:12"),
        (20 * 24, "Thu 25 Feb 1:12 am", "Thu 25 Feb 01:12"),
        (-60 * 24, "Mon 7 Dec 2026 1:12 am", "Mon 7 Dec 2026 01:12"),
    ],
)
def test_time_reads_as_people_say_it(hours: float, us: str, si: str):
    at = NOW + hours * HOUR
    assert spoken(US.when(at)) == us
    assert spoken(SI.when(at)) == si


def test_computed_time_is_never_rounded_to_earlier():
    at = datetime(2027, 2, 6, 19, 31, tzinfo=UTC)
    assert spoken(US.about(at)) == "about 2 pm tomorrow"
    assert spoken(US.about(at - timedelta(minutes=1))) == "about 1:30 pm tomorrow"
    assert spoken(SI.about(at)) == "about 14:00 tomorrow"


def test_rounding_up_to_midnight_names_the_evening_and_past_it_the_new_day():
    at = datetime(2027, 2, 7, 5, 45, tzinfo=UTC)  # 11:45 pm on Saturday
    assert spoken(US.about(at)) == "about midnight tomorrow"
    assert spoken(US.about(at + HOUR / 2)) == "about 12:30 am Sun"
    assert spoken(SI.about(at)) == "about 00:00 Sun"
    assert spoken(US.about(at - 12 * HOUR)) == "about noon tomorrow"


def test_rounding_up_works_in_a_zone_off_by_three_quarters_of_an_hour():
    kathmandu = Formats(units="us", timezone=ZoneInfo("Asia/Kathmandu"), now=NOW)
    assert spoken(kathmandu.about(datetime(2027, 2, 5, 8, 20, tzinfo=UTC))) == "about 2:30 pm"


@pytest.mark.parametrize(
    ("span", "ago", "until", "left"),
    [
        (timedelta(hours=3, minutes=20), "3 h 20 min ago", "in 3 h 20 min", "3 h 20 min left"),
        (timedelta(seconds=20), "just now", "now", "no time left"),
        (timedelta(hours=52, minutes=9), "2 days 4 h ago", "in 2 days 4 h", "2 days 4 h left"),
        (timedelta(days=1), "1 day ago", "in 1 day", "1 day left"),
    ],
)  # fmt: skip
def test_spans_of_time(span: timedelta, ago: str, until: str, left: str):
    assert spoken(US.ago(NOW - span)) == ago
    assert spoken(US.until(NOW + span)) == until
    assert spoken(US.left(NOW + span)) == left


def test_passed_deadline_is_overdue():
    assert spoken(US.left(NOW - timedelta(minutes=20))) == "20 min overdue"


def test_time_element_carries_the_exact_moment_with_its_zone():
    made = spoken(US.time(datetime(2027, 2, 5, 8, 40, 5, tzinfo=UTC)))
    assert made == (
        '<time datetime="2027-02-05T02:40:05-06:00" '
        'title="Fri 5 Feb 2027, 2:40:05 am CST">2:40 am</time>'
    )


def test_how_long_ago_reads_as_when_in_a_copy_that_a_phone_keeps():
    made = spoken(US.time(NOW - timedelta(minutes=20), "ago"))
    assert f'data-old="{spoken(US.when(NOW - timedelta(minutes=20)))}">20 min ago<' in made


def test_time_that_is_not_known_says_so():
    assert NOT_KNOWN in US.time(None)
    assert "never" in US.time(None, "ago")


def test_hour_that_comes_twice_in_autumn_keeps_its_offset():
    first = datetime(2026, 11, 1, 6, 30, tzinfo=UTC)  # 1:30 am, summer time
    assert US.exact(first).endswith("CDT")
    assert US.exact(first + HOUR).endswith("CST")
    assert first.astimezone(CHICAGO).hour == (first + HOUR).astimezone(CHICAGO).hour


def test_a_span_of_computed_times_ends_no_earlier_and_begins_no_later_than_computed():
    earliest = datetime(2027, 2, 6, 20, 10, tzinfo=UTC)  # tomorrow 2:10 pm
    latest = earliest + 4 * HOUR

    assert spoken(US.between(earliest, latest)) == "between 2 pm and 6:30 pm tomorrow"
    assert spoken(SI.between(earliest, latest)) == "between 14:00 and 18:30 tomorrow"
    assert spoken(US.between(US.now, latest)) == "by 6:30 pm tomorrow or sooner"
    assert (
        spoken(US.between(earliest, latest + 24 * HOUR)) == "between 2 pm tomorrow and 6:30 pm Sun"
    )


def test_a_span_that_is_hardly_one_is_one_time():
    at = datetime(2027, 2, 6, 20, 0, tzinfo=UTC)

    assert spoken(US.between(at - timedelta(minutes=20), at)) == "about 2 pm tomorrow"
    assert spoken(US.between(None, at)) == "about 2 pm tomorrow"


def test_the_earliest_is_rounded_down():
    at = datetime(2027, 2, 6, 20, 29, tzinfo=UTC)

    assert spoken(US.earliest(at)) == "about 2 pm tomorrow"
    assert US.earliest(US.now) == "now"


def test_a_zone_is_named_where_the_clocks_of_two_sites_stand_together():
    # 8:40 UTC is 2:40 in Chicago (Central Standard Time, UTC-6: 15 U.S.C. 260a, 263) and 9:40 in
    # Berlin (Central European Time, UTC+1).
    at = datetime(2026, 11, 25, 8, 40, tzinfo=UTC)
    both = Formats(units="us", timezone=UTC, now=at, named=True)
    assert both.when(at).split() == ["8:40", "am", "UTC"]
    assert both.at("America/Chicago").when(at).split() == ["2:40", "am", "CST"]
    assert both.at("Europe/Berlin").when(at).split() == ["9:40", "am", "CET"]
    assert Formats(units="us", timezone=UTC, now=at).when(at).split() == ["8:40", "am"]
