"""A logger's download in the database: old months, portions, and a trial that leaves no trace."""

from datetime import UTC, datetime

import pytest

from drumkeep.operations import readings_import
from drumkeep.operations.readings_import import (
    ImportAsked,
    ReadImport,
    Tally,
    portion_of,
    read_import,
)
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]

pytestmark = pytest.mark.both_stores

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)
LINES = [f"2021-0{month}-1{day}T06:00:00Z,{month},{day}" for month in (3, 4) for day in range(9)]


def logged(shed: Shed) -> bytes:
    return "\n".join([f"time,{shed.air_name},{shed.damp_name}", *LINES]).encode()


def imported(shed: Shed) -> ReadImport:
    asked = ImportAsked(name="hall.csv", units={"*": "C"})
    with reading(shed.engine) as tx:
        return read_import(tx, content=logged(shed), asked=asked, now=NOW)


def count(shed: Shed, table: str) -> int:
    with shed.engine.connect() as connection:
        found = connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one()  # noqa: S608
        return int(found)


def test_readings_of_years_ago_are_stored_whatever_month_they_are_of(shed: Shed):
    read = imported(shed)
    with transaction(shed.engine) as tx:
        stored = sum(portion_of(check=False)(tx, pack=pack, now=NOW).stored for pack in read.packs)

    assert stored == count(shed, "reading") == 2 * len(LINES)


def test_a_trial_tells_the_same_and_leaves_no_trace(shed: Shed):
    read = imported(shed)
    with transaction(shed.engine) as tx:
        tried = [portion_of(check=True)(tx, pack=pack, now=NOW) for pack in read.packs]
    tables = ("reading", "latest", "place_mark", "reject", "rollup_dirty")
    assert [count(shed, table) for table in tables] == [0] * len(tables)
    with transaction(shed.engine) as tx:
        done = [portion_of(check=False)(tx, pack=pack, now=NOW) for pack in read.packs]

    assert tried == done


def test_an_import_that_was_cut_off_goes_on_when_it_is_done_again(
    shed: Shed, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(readings_import, "AT_ONCE", 7)
    read = imported(shed)
    packs = list(read.packs)
    assert len(packs) == 6
    with transaction(shed.engine) as tx:
        portion_of(check=False)(tx, pack=packs[0], now=NOW)
    tally = Tally()
    for pack in packs:
        with transaction(shed.engine) as tx:
            tally.add(portion_of(check=False)(tx, pack=pack, now=NOW))

    report = tally.report(read.file)
    assert (report.stored, report.duplicates) == (29, 7)
    assert count(shed, "reading") == 36
