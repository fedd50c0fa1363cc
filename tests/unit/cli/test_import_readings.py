"""``drumkeep import readings``: checked, stored, done again, and every fault named."""

import re
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from drumkeep.cli.main import main
from drumkeep.operations.gateways import create_gateway
from drumkeep.operations.places import create_place
from drumkeep.operations.sensors import NewMount, create_sensor
from drumkeep.operations.sites import create_site
from drumkeep.storage import place_marks, schema
from drumkeep.storage.engine import Engine, create
from drumkeep.storage.transaction import reading, transaction

Run = Callable[..., int]

URN = "urn:dev:os:32473-attic"
AIR, DAMP = f"{URN}:air", f"{URN}:damp"
NOW = datetime.now(UTC).replace(microsecond=0)  # noqa: TID251 - the command reads the clock
WEEK = """\
Logger 20411;read out at the dock
Datum;Temp (°F);Feuchte
2025-11-24 14:05;21,5;40
2025-11-24 14:06;21,6;---
2025-11-24 14:07;err;41
2025-11-24 14:08;21,7;x
2025-11-24 14:08;21,7;42
"""
COLUMNS = ("--sensor", f"Temp={AIR}", "--sensor", f"Feuchte={DAMP}")


@pytest.fixture
def engine(tmp_path: Path):
    engine = create(f"sqlite:///{tmp_path}/drumkeep.db")
    schema.upgrade(engine)
    with transaction(engine) as tx:
        create_site(tx, code="north", name="North", timezone="America/Chicago")
        create_place(tx, site="north", code="dock", name="Dock", kind="dock")
        create_gateway(tx, site="north", code="attic", urn=URN)
        since = datetime(2025, 1, 1, tzinfo=UTC)
        for name, quantity, what in ((AIR, "temperature", "air"), (DAMP, "humidity", "humidity")):
            create_sensor(
                tx,
                name=name,
                quantity=quantity,
                interval_s=60,
                mount=NewMount(what, place="north/dock", since=since),
                now=NOW,
            )
    yield engine
    engine.dispose()


@pytest.fixture
def imported(engine: Engine, tmp_path: Path) -> Run:  # noqa: ARG001 - the database of the folder
    def run(text: str, *options: str) -> int:
        file = tmp_path / "dock.csv"
        file.write_text(text, encoding="utf-8")
        return main(["import", "readings", str(file), "--data-dir", str(tmp_path), *options])

    return run


def rows(engine: Engine) -> list[tuple[int, float]]:
    with engine.connect() as connection:
        found = connection.exec_driver_sql("SELECT ts, value FROM reading ORDER BY ts, sensor_id")
        return [(ts, value) for ts, value in found]


def test_a_check_says_what_would_become_of_each_value_and_stores_nothing(engine, imported, capsys):
    assert imported(WEEK, *COLUMNS, "--check") == 0
    told = capsys.readouterr().out

    assert rows(engine) == []
    assert (
        "6 would be stored, 0 there already, 1 twice in the file, 2 without a value, 1 refused."
        in told
    )
    assert "Nothing was stored." in told
    assert "1 refused: is no number." in told
    assert "line 6, Feuchte: 'x'" in told
    # 14:05 in Chicago in winter; 21.5 and 21.7 °F
    assert "3 readings, 2025-11-24 20:05Z to 2025-11-24 20:08Z, -5.8 °C to -5.7 °C" in told
    assert "clock of America/Chicago" in told


def test_what_is_stored_is_what_was_checked_and_doing_it_again_changes_nothing(
    engine, imported, capsys
):
    assert imported(WEEK, *COLUMNS) == 0
    first = rows(engine)
    assert "6 stored, 0 there already, 1 twice in the file" in capsys.readouterr().out
    assert imported(WEEK, *COLUMNS) == 0

    assert "0 stored, 6 there already, 1 twice in the file" in capsys.readouterr().out
    assert rows(engine) == first
    assert first[0][0] == 1764014700000
    assert first[0][1] == pytest.approx((21.5 - 32) / 1.8)
    assert len(first) == 6


def test_it_has_the_drums_of_the_place_computed_again(engine, imported):
    with transaction(engine) as tx:
        place_marks.settle(tx, marks=place_marks.standing(tx))
    imported(WEEK, *COLUMNS)

    with reading(engine) as tx:
        (mark,) = place_marks.standing(tx)
    assert mark.from_ms == 1764014700000


def test_a_second_value_is_refused_with_what_is_stored(imported, capsys):
    imported(WEEK, *COLUMNS)
    imported(WEEK.replace("21,6", "30,0"), *COLUMNS)

    told = capsys.readouterr().out
    assert "1 refused: is a second value of this sensor and time. Give each sensor one" in told
    assert "line 4, v: -1.1111" in told


@pytest.mark.parametrize(
    ("separator", "point", "comma"),
    [("\t", "12.5", "12,7"), (";", "12.7", "12,5"), ("\t", "12.5", "1,23")],
)
def test_decimal_marks_that_are_mixed_are_refused_and_never_read_as_thousands(
    engine, imported, separator, point, comma
):
    cells = enumerate((comma, point))
    lines = [f"2025-11-24T14:0{i}:00Z{separator}{text}" for i, text in cells]
    imported("\n".join([f"time{separator}{AIR}", *lines]) + "\n", "--unit", "C")

    assert rows(engine) == []


def test_a_decimal_mark_of_another_kind_is_told_with_its_cell(imported, capsys):
    imported(f"time\t{AIR}\n2025-11-24T14:05Z\t12.5\n2025-11-24T14:06Z\t12,7\n", "--unit", "C")

    told = capsys.readouterr().out
    assert "2 refused: stands in a column that has numbers with a decimal point and others" in told
    assert ": '12,7'" in told


def test_a_gateways_sensors_go_by_their_short_names(engine, imported):
    long = "time,name,value,unit\n2025-11-24T14:05:00Z,air,20,C\n2025-11-24T14:05:00Z,damp,40,%\n"

    assert imported(long, "--gateway", "north/attic") == 0
    assert [value for _, value in rows(engine)] == [20.0, 40.0]


def test_years_back_is_taken_and_the_future_is_not(engine, imported, capsys):
    old = NOW - timedelta(days=4 * 365)
    lines = [f"{at:%Y-%m-%dT%H:%M:%SZ},20" for at in (old, NOW, NOW + timedelta(hours=2))]
    lines.append("1999-12-31T23:00:00Z,20")
    imported("\n".join([f"time,{AIR}", *lines]), "--unit", "C")

    assert [ts for ts, _ in rows(engine)] == [old.timestamp() * 1000, NOW.timestamp() * 1000]
    told = capsys.readouterr().out
    assert "1 refused: lies in the future" in told
    assert "1 refused: lies before the year 2000" in told


def test_a_date_that_reads_two_ways_is_refused_until_it_is_said_how(engine, imported, capsys):
    text = f"time,{AIR} \n5/11/2025 1:00 PM,20\n"
    said = ("--unit", "C", "--sensor", f"2={AIR}", "--zone", "UTC-6")
    assert imported(text, *said) == 2
    assert "'5/11/2025' may be 2025-05-11 or 2025-11-05" in capsys.readouterr().err
    assert rows(engine) == []
    assert imported(text.replace("5/11", "5/5"), *said, "--check") == 0  # both ways the same
    imported(text, *said, "--month-first")
    imported(text, *said, "--day-first")

    meant = [datetime(2025, month, day, 19, tzinfo=UTC) for month, day in ((5, 11), (11, 5))]
    assert [ts for ts, _ in rows(engine)] == [at.timestamp() * 1000 for at in meant]


@pytest.mark.parametrize(
    ("text", "options", "told"),
    [
        ("", (), "has no line with a time and a number beside it"),
        ("PK\0\0", (), "is no text"),
        (WEEK, (), r"sensor is not said for any of the columns 'Datum', 'Temp \(°F\)', 'Feuchte'"),
        (WEEK, ("--sensor", "Temp=urn:x:y"), "sensor 'urn:x:y' is not registered"),
        (WEEK, ("--sensor", f"Wind={AIR}"), "sensor 'Wind' is no column. Use one of"),
        (WEEK, ("--sensor", AIR), f"sensor '{AIR}' names no column"),
        (WEEK.replace(" (°F)", ""), COLUMNS, "unit 'Temp' says no unit"),
        (WEEK, (*COLUMNS, "--unit", "furlong"), "unit 'furlong' is no unit that is known"),
        (WEEK, (*COLUMNS, "--zone", "Mars/Base"), "zone 'Mars/Base' is no time zone"),
        (WEEK, (*COLUMNS, "--time", "Feuchte"), "is no time"),
        (WEEK, (*COLUMNS, "--gateway", "north/cellar"), "gateway 'north/cellar' is not known"),
    ],
)
def test_what_is_wrong_is_named_with_its_mend(imported, capsys, text, options, told):
    imported(text, *options)

    said = capsys.readouterr()
    assert re.search(told, said.err + said.out)


def test_a_week_of_a_minute_from_two_sensors_is_brought_in_within_seconds(engine, imported):
    """20,160 readings: measured 1.1 s (2026-11, two cores)."""
    times = (NOW - timedelta(days=8) + timedelta(minutes=i) for i in range(10_080))
    lines = (f"{at:%Y-%m-%d %H:%M:%S},{at.minute / 10},{at.hour + 20}" for at in times)
    text = "\n".join([f"Time (UTC),{AIR},{DAMP}", *lines])
    started = time.perf_counter()
    assert imported(text, "--unit", "C") == 0

    assert len(rows(engine)) == 2 * 10_080
    assert time.perf_counter() - started < 20
