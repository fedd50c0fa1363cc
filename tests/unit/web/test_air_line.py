"""The air line: where the lines and words of a place's air go."""

from dataclasses import replace
from datetime import timedelta

import pytest

from drumkeep.domain.grid import to_ms
from drumkeep.web.airline import TALL, WIDE, air_drawing
from drumkeep.web.view_models import AirLine, LimitView
from tests.unit.web.samples import HOUR, NOW, formats, shelf

US = formats()


def points(path: str) -> list[tuple[float, float]]:
    numbers = [float(n) for n in path.removeprefix("M").split()]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def test_now_stands_after_two_thirds_of_the_line():
    # 24 hours behind and 12 ahead.
    assert air_drawing(shelf(), US).now_x == pytest.approx(100 * 24 / 36, abs=0.05)


def test_past_ends_where_the_forecast_begins():
    made = air_drawing(shelf(), US)
    assert points(made.past)[-1][0] == points(made.ahead)[0][0] == pytest.approx(made.now_x * 10)


def test_colder_air_lies_lower():
    line = AirLine(past=((to_ms(NOW - HOUR), 20.0), (to_ms(NOW), 0.0)))
    first, last = points(air_drawing(replace(shelf(), air_line=line), US).past)
    assert first[1] < last[1]


def test_everything_stays_on_the_page():
    made = air_drawing(shelf(), US)
    for x, y in [*points(made.past), *points(made.ahead), *points(made.band)]:
        assert 0 <= x <= WIDE
        assert 0 <= y <= TALL


def test_thinning_keeps_the_coldest_reading():
    past = tuple((to_ms(NOW - timedelta(minutes=n)), 5.0) for n in range(1440, -1, -1))
    coldest = to_ms(NOW - timedelta(minutes=701))
    spike = [(t, -9.0 if t == coldest else c) for t, c in past]
    made = air_drawing(replace(shelf(), air_line=AirLine(past=tuple(spike))), US)
    line = points(made.past)
    assert len(line) < 300
    assert max(y for _, y in line) == pytest.approx(TALL - 6.0)


def test_limit_far_from_the_air_does_not_flatten_the_line():
    limits = (
        LimitView(name="near", c=10.0, origin=""),
        LimitView(name="far", c=60.0, origin=""),
    )
    made = air_drawing(replace(shelf(), limit_lines=limits), US)
    assert [line.label.split()[0] for line in made.limits] == ["near"]


def test_no_dot_stands_at_now_for_what_was_heard_long_ago():
    def dot(minutes: float) -> float | None:
        last = to_ms(NOW - timedelta(minutes=minutes))
        line = AirLine(past=((to_ms(NOW - 3 * HOUR), 5.0), (last, 6.0)))
        return air_drawing(replace(shelf(), air_line=line), US).now_y

    assert dot(45) is not None
    assert dot(46) is None


def test_a_line_that_foretells_nothing_has_the_day_for_itself_and_says_what_it_is_of():
    line = AirLine(past=((to_ms(NOW - 3 * HOUR), 5.0), (to_ms(NOW), 6.0)))
    made = air_drawing(
        replace(shelf(), air_line=line), US, ahead_hours=1.0, subject="Skin of the drum"
    )

    assert made.now_x == pytest.approx(100 * 24 / 25, abs=0.05)
    assert made.words.startswith("Skin of the drum at North shed: last 24 hours")


def test_place_without_air_says_so():
    made = air_drawing(replace(shelf(), air_line=AirLine()), US)
    assert made.past == made.ahead == made.band == ""
    assert made.words == "No air on record at North shed."


def test_hours_are_named_in_the_sites_zone_and_leave_room_for_now():
    labels = [t.label.replace("\N{NO-BREAK SPACE}", " ") for t in air_drawing(shelf(), US).ticks]
    # Midnight is 1 h 12 min before now (1:12 am) and gives way to the word.
    assert labels == ["6 am", "noon", "6 pm", "6 am", "noon"]


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("minutes", range(0, 720, 25))
def test_no_hour_is_written_into_the_word_now_on_a_phone(language, minutes):
    now = NOW + timedelta(minutes=minutes)
    spoken = replace(formats(), now=now, language=language)
    made = air_drawing(shelf(), spoken)
    # Of 390 CSS px the page leaves 340 to a line; a letter of its 13 px type is about half as wide.
    halves = 13 * 0.5 / 2
    for tick in made.ticks:
        if tick.anchor == "middle":
            off = abs(tick.x - made.now_x) / 100 * 340
            assert off > halves * len(tick.label + spoken.words("now")), (tick, made.now_x)
    assert len(made.ticks) >= 4
