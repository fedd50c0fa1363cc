"""Uploaded forecasts of the outdoor air: read from CSV, and checked point by point."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from drumkeep.domain.air_forecasts import ForecastPoint, checked, from_csv
from drumkeep.errors import Invalid

NOW = datetime(2026, 2, 4, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def points(*pairs):
    return [
        ForecastPoint(at=NOW + h * HOUR, c=c, name=f"points.{i}") for i, (h, c) in enumerate(pairs)
    ]


def test_points_become_a_line():
    found = checked(points((0, 4.0), (1, 2.0), (4, -4.0)), issued_at=NOW, now=NOW)

    seconds = np.array([(NOW + h * HOUR).timestamp() for h in (0.5, 2.5)])
    assert found.over(seconds).tolist() == [3.0, -1.0]


@pytest.mark.parametrize(
    ("given", "field", "problem"),
    [
        ([(0, 4.0), (2, 61.0)], "points.1.c", "out of range"),
        ([(0, -60.5), (2, 1.0)], "points.0.c", "out of range"),
        ([(0, 4.0), (3.5, 4.0)], "points.1.at", "comes 3.5 h after"),
        ([(2, 4.0), (1, 4.0)], "points.1.at", "not after"),
        ([(1, 4.0), (1, 4.0)], "points.1.at", "not after"),
        ([(-3, 4.0), (-1, 4.0)], "points.1.at", "is over"),
        ([(1, 4.0)], "points", "number of points"),
    ],
)
def test_what_cannot_be_used_is_named(given, field, problem):
    with pytest.raises(Invalid) as caught:
        checked(points(*given), issued_at=NOW, now=NOW)

    (fault,) = caught.value.faults
    assert fault.field == field
    assert problem in fault.problem
    assert fault.mend


@pytest.mark.parametrize("off", [timedelta(minutes=6), -timedelta(days=31)])
def test_an_issue_in_the_future_or_long_past_is_refused(off):
    with pytest.raises(Invalid) as caught:
        checked(points((0, 4.0), (2, 4.0)), issued_at=NOW + off, now=NOW)

    assert [fault.field for fault in caught.value.faults] == ["issued_at"]


def test_gaps_of_three_hours_are_taken():
    assert len(checked(points((0, 4.0), (3, 4.0)), issued_at=NOW, now=NOW).c) == 2


@pytest.mark.parametrize(
    ("header", "value"),
    [
        ("time,temperature_c", "-7.5"),
        ("time,temperature_f", "18.5"),
        ("at,c", "-7.5"),
        ("Time, Temperature (°F)", "18.5"),
        ("\ufefftime,Temp °C", "-7.5"),
        ("time,F", "18.5"),
    ],
)
def test_the_header_says_the_unit(header, value):
    text = f"{header}\n2026-02-04T12:00:00-06:00,{value}\n\n2026-02-04T19:00Z,{value}\n"
    found = from_csv(text)

    # 18.5 °F is −7.5 °C by definition
    assert [p.c for p in found] == pytest.approx([-7.5, -7.5])
    assert found[0].at == datetime(2026, 2, 4, 18, tzinfo=UTC)
    assert [p.name for p in found] == ["lines.2", "lines.4"]


@pytest.mark.parametrize("header", ["", "time,temperature", "time", "12:00,5", "time,kelvin"])
def test_a_header_that_says_no_unit_is_refused(header):
    with pytest.raises(Invalid) as caught:
        from_csv(f"{header}\n")

    assert caught.value.faults[0].field == "lines.1"
    assert "temperature_f" in caught.value.faults[0].mend


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ("2026-02-04T12:00:00,5", "without a zone"),
        ("noon,5", "no time"),
        ("2026-02-04T12:00Z,warm", "no number"),
        ("2026-02-04T12:00Z,nan", "not finite"),
        ("2026-02-04T12:00Z", "two columns"),
        ("2026-02-04T12:00Z,5,6", "two columns"),
        ("0001-01-01T00:00+14:00,5", "out of range"),
        ("2026-02-04T12:00Z," + "5" * 200_000, "is not CSV"),
    ],
)
def test_lines_that_cannot_be_read_are_named(line, problem):
    with pytest.raises(Invalid) as caught:
        from_csv(f"time,c\n2026-02-04T11:00Z,5\n{line}\n")

    (fault,) = caught.value.faults
    assert fault.field == "lines.3"
    assert problem in fault.problem
