"""A long file is read a portion at a time, whichever end it begins with."""

import tracemalloc
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from drumkeep.domain import logger_files
from drumkeep.domain.logger_columns import LoggerOptions
from drumkeep.domain.logger_files import LoggerReadings, read_logger_file
from drumkeep.domain.logger_tables import read_table
from drumkeep.domain.sensors import Quantity

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
CHICAGO = ZoneInfo("America/Chicago")


def read(lines: list[str]) -> LoggerReadings:
    content = "\n".join(["time,hall", *lines]).encode()
    options = LoggerOptions(site_zone=CHICAGO, units={"*": "C"})
    of = {"hall": Quantity.TEMPERATURE}
    return read_logger_file(read_table(content), options=options, quantities=of, now=NOW)


def logged(count: int, *, begins: datetime) -> list[str]:
    times = (begins + i * timedelta(minutes=1) for i in range(count))
    return [f"{at.astimezone(CHICAGO):%Y-%m-%d %H:%M},{i % 300 / 10}" for i, at in enumerate(times)]


@pytest.mark.parametrize("portion", [7, 5000])
def test_the_newest_may_come_first_over_many_portions_and_an_hour_that_comes_twice(
    portion: int, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(logger_files, "_AT_ONCE", portion)
    begins = datetime(2026, 11, 1, 4, tzinfo=UTC)  # at 07:00Z clocks are set back
    lines = logged(300, begins=begins)
    forward, backward = read(lines), read(lines[::-1])

    meant = [round((begins + i * timedelta(minutes=1)).timestamp() * 1000) for i in range(300)]
    assert [one.ts_ms for one in forward.readings] == meant
    assert [one.ts_ms for one in backward.readings] == meant[::-1]
    assert [one.index for one in backward.readings] == list(range(2, 302))
    assert list(backward.rejections) == []


def test_what_comes_twice_is_found_over_portions_and_the_first_stays(
    monkeypatch: pytest.MonkeyPatch,
):
    monkeypatch.setattr(logger_files, "_AT_ONCE", 3)
    lines = logged(10, begins=datetime(2026, 5, 1, tzinfo=UTC))
    other = lines[4].split(",")[0] + ",25.5"
    found = read([*lines, lines[2], other, lines[9]])

    assert found.doubled == 2
    assert [round(one.value, 6) for one in found.readings] == [i / 10 for i in range(10)]
    (told,) = found.rejections
    assert (told.index, told.value) == (13, 25.5)
    assert "line 6 stays" in told.problem


def test_a_long_file_takes_a_few_times_its_size_and_not_thirty():
    lines = [f"{at}{' ' * 20}" for at in logged(20_000, begins=datetime(2026, 5, 1, tzinfo=UTC))]
    size = sum(map(len, lines))
    read(lines[:100])  # what is made once
    tracemalloc.start()
    try:
        before, _ = tracemalloc.get_traced_memory()
        found = read(lines)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()

    assert len(found.readings) == 20_000
    # a portion of rows as objects, the text twice (here, not in the service), and 25 octets each
    assert peak - before < 10 * size
