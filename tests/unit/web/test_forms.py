"""From a form's fields to an event in SI and UTC, and faults back in the form's own words."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.asgi.happenings import event_of
from drumkeep.errors import Conflict, Fault, Invalid
from drumkeep.web.form_faults import in_words_of_form
from drumkeep.web.formats import Formats
from drumkeep.web.forms import event_body

NEW_YORK = "America/New_York"
NOW = datetime(2026, 11, 1, 12, tzinfo=UTC)
ID = "7f1e0c9a-3b52-4b7e-9c1d-2a6f5e8d4b10"


def body(kind="opened", *, us=True, zone=NEW_YORK, now=NOW, **fields):
    return event_body({"id": ID, "kind": kind, **fields}, us=us, zone=zone, now=now)


# 15 U.S.C. 260a: summer time from 2:00 on the second Sunday of March to 2:00 on the first of
# November, which in 2026 are 8 March and 1 November; Eastern time is UTC-5, in summer UTC-4.
@pytest.mark.parametrize(
    ("written", "utc"),
    [
        ("2026-03-08T01:59", "2026-03-08T06:59:00Z"),
        ("2026-03-08T03:00", "2026-03-08T07:00:00Z"),
        ("2026-11-01T00:59", "2026-11-01T04:59:00Z"),
        ("2026-11-01T02:00", "2026-11-01T07:00:00Z"),
        ("2026-10-31T23:30", "2026-11-01T03:30:00Z"),
        ("2026-07-04 06:00", "2026-07-04T10:00:00Z"),
        ("2026-01-31T05:00:30", "2026-01-31T10:00:30Z"),
    ],
)
def test_time_is_the_sites_own(written, utc):
    assert body(at=written)["at"] == utc


def test_hour_that_clocks_go_through_twice_is_the_latest_that_is_past():
    first, second = "2026-11-01T05:30:00Z", "2026-11-01T06:30:00Z"
    between = datetime(2026, 11, 1, 6, 10, tzinfo=UTC)
    assert body(at="2026-11-01T01:30", now=NOW)["at"] == second
    assert body(at="2026-11-01T01:30", now=between)["at"] == first


def test_hour_that_clocks_go_through_twice_is_the_first_for_what_is_wanted():
    # Ready an hour early is no harm.
    wanted = body("wanted", wanted_at="2026-11-01T01:30", now=datetime(2026, 10, 1, tzinfo=UTC))
    assert wanted["at"] == "2026-11-01T05:30:00Z"


def test_hour_that_clocks_skip_is_refused_with_the_reason():
    with pytest.raises(Invalid) as refusal:
        body(at="2026-03-08T02:30")
    (fault,) = refusal.value.faults
    assert (fault.field, fault.value) == ("at", "2026-03-08T02:30")
    assert "never was" in fault.problem
    assert "put forward" in fault.mend


@pytest.mark.parametrize(
    "text",
    [
        "yesterday",
        "6:00",
        "2026-02-30T06:00",
        "2026-01-31",
        "2026-01-31T25:00",
        "2026-01-31T05:00Z",
        "2026-01-31T05:00-05:00",
        "0001-01-01T00:00",
        "9999-12-31T23:59",
        "2026-W05-1",
        "2026-01-31T05:00" * 300,
    ],
)
def test_what_is_no_time_is_named(text):
    with pytest.raises(Invalid) as refusal:
        body(at=text)
    (fault,) = refusal.value.faults
    assert (fault.field, fault.value, fault.problem) == ("at", text, "is not a time")


@given(
    minute=st.integers(0, 100 * 365 * 24 * 60),
    zone=st.sampled_from([NEW_YORK, "Pacific/Auckland", "Asia/Kathmandu", "America/St_Johns"]),
)
def test_every_time_is_taken_as_the_clock_shows_it_or_refused(minute, zone):
    moment = datetime(2000, 1, 1) + timedelta(minutes=minute)  # noqa: DTZ001 - the clock on a wall
    written = f"{moment:%Y-%m-%dT%H:%M}"
    try:
        told = body(at=written, zone=zone)["at"]
    except Invalid:
        there = moment.replace(tzinfo=ZoneInfo(zone)).astimezone(UTC).astimezone(ZoneInfo(zone))
        assert there.replace(tzinfo=None) != moment
    else:
        local = datetime.fromisoformat(told).astimezone(ZoneInfo(zone))
        assert f"{local:%Y-%m-%dT%H:%M}" == written


@pytest.mark.parametrize(
    ("text", "c"),
    [
        ("59", 15.0),  # 59 °F is 15 °C and -40 is both, by definition of the scales
        ("59.0", 15.0),
        (" 59 ", 15.0),
        ("59,0", 15.0),
        ("-40", -40.0),
        ("−40", -40.0),
        ("+59", 15.0),
        ("59.", 15.0),
    ],
)
def test_number_is_read_as_people_write_it(text, c):
    assert body("dipped", temperature=text)["c"] == pytest.approx(c)


@pytest.mark.parametrize(
    "text",
    [
        "cold",
        "1,250",
        "6 1",
        "1e3",
        "nan",
        "inf",
        "-",
        "0x10",
        "1_0",
        "\N{FULLWIDTH DIGIT FIVE}9",
        "61.5.2",
        "9" * 50,
    ],
)
def test_what_is_no_number_or_could_be_two_is_named(text):
    with pytest.raises(Invalid) as refusal:
        body("weighed", mass=text)
    (fault,) = refusal.value.faults
    assert (fault.field, fault.value, fault.problem) == ("mass", text, "is not a number")
    assert "61.5" in fault.mend


def told(error, *, us=True, **form):
    formats = Formats(units="us" if us else "si", timezone=ZoneInfo(NEW_YORK), now=NOW)
    (fault,) = in_words_of_form(error, form, formats=formats).faults
    return str(fault).replace("\N{NO-BREAK SPACE}", " ")


def test_bounds_are_told_in_the_unit_of_the_form_and_can_be_followed():
    # 95 °C is 203 °F; 1.2 m is 47.24 in; 20 kPa is 2.90 psi (NIST SP 811 appendix B.8).
    cases = [
        ("dipped", {"temperature": "400"}, "to 203 °F", {"temperature": "203"}),
        ("dipped", {"temperature": "60", "height": "99"}, "at most 47.2 in", {"height": "47.2"}),
        ("blanketed", {"pressure": "5", "gas": "nitrogen"}, "at most 2.9 psi", {"pressure": "2.9"}),
    ]
    for kind, fields, mend, followed in cases:
        with pytest.raises(Exception) as refusal:  # noqa: PT011 - two kinds of error
            event_of(body(kind, **fields))
        assert mend in told(refusal.value, kind=kind, **fields)
        event_of(body(kind, **fields | followed))


def test_what_the_rules_say_in_si_is_told_in_the_form_s_units_and_clock():
    fault = Fault(
        "net_kg", 320.0, "makes 320.0 kg, which a drum does not hold", "Give 0 to 280.3 kg."
    )
    words = told(Invalid("x", [fault]), kind="weighed", mass="705")
    assert words.startswith("Weight '705 lb' makes 705.4 lb")
    assert "0 to 617.9 lb" in words  # rounded down: 618 lb are 280.32 kg
    metric = told(Invalid("x", [fault]), us=False, kind="weighed", mass="320")
    assert "0 to 280.3 kg" in metric
    late = Fault("at", "2026-11-01T14:00:00+00:00", "is ahead", "Up to now, 2026-11-01T12:00:00Z.")
    assert "7:00 am" in told(Invalid("x", [late]), kind="opened", at="2026-11-01T09:00")
    gone = Fault("kind", "moved", "comes after it was emptied at 2026-11-01 11:00Z", "Ask.")
    words = told(Conflict("x", [gone]), kind="moved")
    assert words.startswith("What you did 'Move' comes after it was emptied at 6:00 am")
