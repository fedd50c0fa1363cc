"""Decimal marks and dates of a logger's file are told by the file, or refused: never guessed."""

from datetime import UTC, datetime

import pytest

from drumkeep.domain.logger_columns import LoggerOptions
from drumkeep.domain.logger_files import LoggerReadings, read_logger_file
from drumkeep.domain.logger_tables import read_table
from drumkeep.domain.numerals import by_mark
from drumkeep.domain.sensors import Quantity
from drumkeep.domain.spreadsheet_cells import Unclear, number
from drumkeep.errors import Invalid

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
OF = {"hall": Quantity.TEMPERATURE, "sun": Quantity.IRRADIANCE, "cell": Quantity.VOLTAGE}


def read(*lines: str, header: str = "time\thall", day_first: bool | None = None) -> LoggerReadings:
    dated = [f"2026-11-0{day} 12:00\t{line}" for day, line in enumerate(lines, start=1)]
    return read_text("\n".join([header, *dated]), day_first=day_first)


def read_text(text: str, *, day_first: bool | None = None) -> LoggerReadings:
    options = LoggerOptions(site_zone=UTC, day_first=day_first, units={"*": "C"})
    return read_logger_file(read_table(text.encode()), options=options, quantities=OF, now=NOW)


def values(found: LoggerReadings) -> list[float]:
    return [round(one.value, 6) for one in found.readings]


@pytest.mark.parametrize(
    ("text", "worth"),
    [
        ("12,7", {",": 12.7}),
        ("12.5", {".": 12.5}),
        ("1,23", {",": 1.23}),
        ("1,2345", {",": 1.2345}),
        ("0,234", {",": 0.234}),
        ("1.234", {".": 1.234, ",": 1234.0}),
        ("1,234", {".": 1234.0, ",": 1.234}),
        ("1.234,5", {",": 1234.5}),
        ("1,234.5", {".": 1234.5}),
        ("1,234,567", {".": 1234567.0}),
        ("1 234,5", {",": 1234.5}),
        ("1'234.5", {".": 1234.5}),
        ("-4,5", {",": -4.5}),
        ("\N{MINUS SIGN}4.5", {".": -4.5}),
        ("-12", {".": -12.0, ",": -12.0}),
        ("1,5e-3", {",": 0.0015}),
        ("12 5", {}),
        ("1,23.5", {}),
        ("1,23,456", {}),
        ("1.2.3", {}),
    ],
)
def test_a_mark_groups_thousands_only_with_three_digits_behind_it(
    text: str, worth: dict[str, float]
):
    assert by_mark(text) == worth


@pytest.mark.parametrize("cells", [("12.5", "12,7"), ("12,5", "12.7"), ("-3,25 °C", "-3.5 °C")])
def test_a_column_with_both_decimal_marks_is_refused_cell_by_cell(cells: tuple[str, str]):
    found = read(*cells, "13")

    assert values(found) == [13.0]
    assert [(told.index, told.field, told.value) for told in found.rejections] == [
        (2, "hall", cells[0]),
        (3, "hall", cells[1]),
    ]
    told = next(iter(found.rejections))
    assert all(cell in told.problem for cell in cells)
    assert "one decimal mark" in told.mend


def test_one_cell_far_down_is_enough():
    lines = [f"2026-10-01 {minute // 60:02}:{minute % 60:02}\t12.5" for minute in range(1000)]
    lines[503] = lines[503].replace(".", ",")
    found = read_text("\n".join(["time\thall", *lines]))

    assert list(found.readings) == []
    assert len(found.rejections) == 1000


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        (("12,5", "1,23"), [12.5, 1.23]),
        (("12.5", "1.23"), [12.5, 1.23]),
        (("21,125", "21,250"), [21.125, 21.25]),  # 21,125 °C is not plausible
        (("21.125", "21.250"), [21.125, 21.25]),
        (("-4,5", "\N{MINUS SIGN}4,25"), [-4.5, -4.25]),
        (("50,5 °F", "41 °F"), [10.277778, 5.0]),
        (("2,5", "1 0,5"), [2.5]),
    ],
)
def test_one_decimal_mark_is_read_as_it_is(cells: tuple[str, ...], expected: list[float]):
    assert values(read(*cells)) == expected


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        (("1,234", "12.5"), [1234.0, 12.5]),
        (("1.234", "12,5"), [1234.0, 12.5]),
        (("1.234,5", "12,5"), [1234.5, 12.5]),
        (("1 234,5", "12,5"), [1234.5, 12.5]),
        (("1'234.5", "12.5"), [1234.5, 12.5]),
        (("1,234", "800"), [800.0]),
    ],
)
def test_thousands_are_told_by_the_column_or_refused(cells: tuple[str, ...], expected: list[float]):
    found = read(*cells, header="time\tsun")

    assert values(found) == expected
    assert all("1234 or 1.234" in told.problem for told in found.rejections)


def test_a_column_that_does_not_tell_is_read_as_all_others_are():
    found = read("1,234\t12.5", "1,100\t13.5", header="time\tsun\thall")

    assert values(found) == [1234.0, 12.5, 1100.0, 13.5]


def test_temperatures_of_no_shed_are_told():
    (note,) = read("20.0", "127.0", "-50.0").notes[1:]

    assert note.startswith("2 temperatures lie below -45 °C or above 90 °C")
    assert "line 3 (127.0 °C)" in note


@pytest.mark.parametrize(
    ("date", "others", "day_first", "month"),
    [
        ("3/4/2026", "", False, 3),
        ("3/4/2026", "", True, 4),
        ("3/4/2026", "4/13/2026 12:00\t8\n", None, 3),
        ("3-4-26", "13-4-26 12:00\t8\n", None, 4),
        ("3/3/2026", "", None, 3),
        ("2026/3/4", "", None, 3),
        ("4.3.2026", "", None, 3),
    ],
)
def test_a_date_is_read_as_somebody_says_or_other_dates_tell(
    date: str,
    others: str,
    day_first: bool | None,  # noqa: FBT001 - of the table above
    month: int,
):
    found = read_text(f"time\thall\n{date} 12:00\t7\n{others}", day_first=day_first)

    first = datetime.fromtimestamp(next(iter(found.readings)).ts_ms / 1000, tz=UTC)
    assert (first.year, first.month) == (2026, month)


def test_a_date_that_reads_two_ways_is_not_guessed():
    with pytest.raises(Invalid) as refused:
        read_text("time\thall\n3/4/2026 12:00\t7\n")

    (fault,) = refused.value.faults
    assert (fault.field, fault.value) == ("day_first", "3/4/2026")
    assert fault.problem == "may be 2026-03-04 or 2026-04-03"


@pytest.mark.parametrize("text", ["12 5 lb", "1,23.5 lb", "1'23 lb", "12,34,5 lb"])
def test_a_spreadsheet_takes_no_torn_number_for_a_larger_one(text: str):
    with pytest.raises(Unclear):
        number(text)


@pytest.mark.parametrize(
    ("text", "value"), [("12,5 lb", 12.5), ("1.234,5 lb", 1234.5), ("1 234.5 lb", 1234.5)]
)
def test_a_spreadsheet_reads_either_mark_where_only_one_can_be_meant(text: str, value: float):
    assert number(text) == (value, "lb")
