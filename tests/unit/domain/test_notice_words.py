"""What a notice says: the verb first, the time left, the site's clock, the reader's units.

The 7-bit alphabet and the 160 characters of one text message: GSM 03.38 / 3GPP TS 23.038 §6.2.1.
"""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from drumkeep.domain.alarms import AlarmKind, Priority
from drumkeep.domain.notice_words import Cause, Reader, clipped, gsm, gsm_length, notice_text
from drumkeep.domain.notices import Channel, Occasion
from drumkeep.domain.time_words import span_words
from drumkeep.domain.wording import moment, temperature
from drumkeep.language.tongue import ENGLISH, tongue

NOW = datetime(2026, 2, 4, 8, 0, tzinfo=UTC)  # 2:00 am in Chicago
DEADLINE = NOW + timedelta(minutes=40)
PLAIN_SYMBOLS = set(
    "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 .,:;()/-+%'\"#&=?!<>@_\n"
)
"""Of the 7-bit alphabet: all that these messages need."""


def cause(**changes):
    usual: dict[str, Any] = {
        "kind": AlarmKind.COLD_LOAD,
        "priority": Priority.HIGH,
        "audience": ("dispatcher",),
        "message": (
            f"Bring 6 iso drums in from Box van before {moment(DEADLINE)}: the lowest liquid "
            f"reaches {temperature(10.0)}."
        ),
        "drums": ("K7Q-X4M", "M2T-9RA"),
        "deadline": DEADLINE,
        "site": "North",
        "timezone": "America/Chicago",
    }
    return Cause(**(usual | changes))


def written(
    what, *, occasion=Occasion.FIRST, channel=Channel.MAIL, units="us", link=None, maybe_had=False
):
    reader = Reader(units=units, channel=channel, speech=tongue(ENGLISH))
    return notice_text(
        what, occasion=occasion, reader=reader, link=link, maybe_had=maybe_had, now=NOW
    )


def test_the_first_line_says_what_to_do_by_when_and_how_long_is_left():
    text = written(cause())

    first, *rest = text.body.splitlines()
    assert first == (
        "Bring 6 iso drums in from Box van before 2:40 am: the lowest liquid reaches 50 °F. "
        "40 min left."
    )
    assert text.title == first
    assert rest[0] == "High, for dispatcher. North, 2:00 am CST."
    assert "K7Q-X4M" in rest[1]


def test_it_is_told_in_the_units_of_the_reader():
    first = written(cause(), units="si").body.splitlines()[0]

    assert "before 02:40: the lowest liquid reaches 10.0 °C" in first


@pytest.mark.parametrize("units", ["us", "si"])
def test_a_text_message_is_written_in_the_alphabet_of_phones_with_all_in_its_first_part(units):
    what = cause(message=cause().message.replace("Box van", "Zażółć – “yard” №1"))
    text = written(what, channel=Channel.TEXT, units=units, link="https://drums.example.com/a")

    first, caution, link = text.body.splitlines()
    assert text.title == ""
    assert set(text.body) <= PLAIN_SYMBOLS
    assert len(first) <= 160
    assert first.startswith("Bring 6 iso drums in from Zazo")
    assert first.endswith("40 min left.")
    assert "Bulged or hissing: do not move" in caution
    assert link == "https://drums.example.com/a"


def test_a_longer_text_message_is_cut_between_words_so_that_one_holds_it():
    words = " ".join(["thirty"] * 40)
    cut = clipped(words)

    assert len(cut) <= 160
    assert cut.endswith("thirty...")
    assert gsm_length("a€b[") == 6  # two of them take the room of two
    assert gsm("50 °F − 3 °C") == "50 F - 3 C"
    assert len(clipped("x" * 400)) <= 160


@pytest.mark.parametrize(
    ("kind", "caution"),
    [
        (AlarmKind.COLD_LOAD, "Never heat a tight drum"),
        (AlarmKind.WARM_UP, "Never heat a tight drum"),
        (AlarmKind.GASSING, "vent slowly by the small bung"),
        (AlarmKind.OVERPRESSURE, "do not open or move it"),
        (AlarmKind.BLANKET_MISSING, "Nitrogen displaces air"),
        (AlarmKind.SENSOR_SILENT, "vent slowly by the small bung"),
    ],
)
@pytest.mark.parametrize("channel", Channel)
def test_what_may_lead_somebody_to_a_drum_carries_its_caution_on_every_channel(
    kind, caution, channel
):
    body = written(cause(kind=kind), channel=channel).body
    if channel is Channel.TEXT:
        assert "ata sheet first" in body
    else:
        assert caution in body
        assert "safety data sheet, the supplier, local codes" in body


def test_what_is_critical_says_so_first():
    text = written(cause(kind=AlarmKind.OVERPRESSURE, priority=Priority.CRITICAL, deadline=None))

    assert text.body.startswith("CRITICAL: Bring")
    assert written(cause(priority=Priority.CRITICAL), channel=Channel.WEBHOOK).title == (
        "drumkeep: Critical alarm, North"
    )


@pytest.mark.parametrize(
    ("occasion", "words"),
    [
        (Occasion.GRAVER, "It is graver than you were told."),
        (Occasion.AMENDED, "This amends what you were told."),
        (Occasion.AGAIN, "It is back."),
    ],
)
def test_a_later_notice_says_how_it_stands_to_the_first(occasion, words):
    assert words in written(cause(), occasion=occasion).body
    assert words not in written(cause()).body


def test_an_end_says_since_when_and_leads_to_nothing():
    text = written(
        cause(returned_at=NOW - timedelta(minutes=5), deadline=None), occasion=Occasion.OVER
    )

    assert text.body.startswith("It is over since 1:55 am. It was: Bring 6 iso drums in")
    assert "Never heat" not in text.body


def test_who_acknowledged_and_that_one_may_have_had_it_is_said():
    text = written(cause(acknowledged_by="Mara"), maybe_had=True)

    assert "Acknowledged by Mara." in text.body
    assert "You may have had this message already." in text.body


def test_two_temperatures_that_differ_never_read_the_same():
    message = f"Cool it: at {temperature(24.1)}, over {temperature(23.889)}."

    assert "75.4 °F, over 75.0 °F" in written(cause(message=message, deadline=None)).body


@pytest.mark.parametrize(
    ("hours", "words"),
    [(0.5, "before 2:30 am"), (22.0, "before tomorrow 12:00 am"), (70.0, "before Sat 12:00 am")],
)
def test_times_are_said_as_people_say_them(hours, words):
    when = NOW + timedelta(hours=hours)
    message = f"Bring it in before {moment(when)}."

    assert words in written(cause(message=message, deadline=None)).body


def test_what_people_typed_is_no_mark_and_no_other_line():
    message = "Bring it in from {nothing}{t:x} <b>."

    assert written(cause(message=message, deadline=None)).body.startswith(message)


def test_spans_are_told_in_two_parts():
    assert [
        span_words(timedelta(minutes=m), speech=tongue(ENGLISH)) for m in (40, 200, 60, 3000)
    ] == [
        "40 min",
        "3 h 20 min",
        "1 h",
        "2 days 2 h",
    ]


def test_a_text_message_too_long_for_one_still_says_how_long_is_left():
    what = cause(message=cause().message.replace("Box van", "Trailer with a long name " * 4))
    first = written(what, channel=Channel.TEXT).body.splitlines()[0]

    assert first.startswith("Bring 6 iso drums in from Trailer")
    assert first.endswith("... 40 min left.")
    assert gsm_length(first) <= 160
