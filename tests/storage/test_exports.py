"""What was exported imports again unchanged, and is no formula to a spreadsheet."""

import csv
import io
from datetime import date, datetime, timedelta

import pytest

from drumkeep.asgi.sheets import bring_in_sheet
from drumkeep.errors import Invalid
from drumkeep.operations.exports import ALL, EXPORTS, Asked, export, write
from drumkeep.operations.lots import create_lot
from drumkeep.operations.products import create_product
from drumkeep.operations.readings_import import ImportAsked, read_import, store_portion
from tests.fixtures.depot import BEGIN, MANAGER, at, depot, empty_depot, short_sight

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")


def written(depot, noun, asked=ALL):
    out = io.StringIO()
    with depot.looking() as tx:
        write(export(tx, noun=noun, asked=asked), out)
    return out.getvalue()


@pytest.fixture
def filled(empty_depot, tmp_path_factory):
    with empty_depot.copy(tmp_path_factory.mktemp("filled")) as depot:
        with depot.writing() as tx:
            create_product(
                tx,
                code="heavy",
                name="=Heavy, 2\N{DOUBLE PRIME} of it",
                side="resin",
                cell="open",
                limits={"storage_low_c": 12.3},
                properties={"net_kg": 211.7, "density_points": [[10.0, 1140.0], [20.0, 1130.5]]},
                origins={"storage_low_c": "sheet of 2026"},
            )
            create_lot(
                tx,
                product="heavy",
                code="0042",
                made_on=date(2026, 1, 9),
                now=BEGIN,
                expires_on=date(2026, 7, 1),
            )
        tag = depot.receive("van", 1.25, origin="hall", note="-dented\tat the lid", net_kg=201.123)
        depot.record(tag, "moved", 2.0, to="hall")
        depot.receive("hall", 3.0, side="resin", liquid_c=None)
        yield depot


def test_products_lots_and_drums_come_again_as_they_were(filled, depot):
    for noun in ("products", "lots", "drums"):
        text = written(filled, noun).encode()
        with depot.writing() as tx:
            first = bring_in_sheet(tx, noun=noun, content=text, by=MANAGER, now=at(24.0))
        assert first.stored, [row.faults for row in first.rows if row.faults]
        with depot.writing() as tx:
            again = bring_in_sheet(tx, noun=noun, content=text, by=MANAGER, now=at(24.0))
        assert again.count("there") == len(again.rows)
    for noun in ("products", "lots"):
        assert written(depot, noun) == written(filled, noun)
    receipts = [
        [row[:14] for row in csv.reader(io.StringIO(written(one, "drums")))]
        for one in (depot, filled)
    ]
    assert receipts[0] == receipts[1]
    assert len(receipts[0]) == 3


def test_no_text_is_a_formula(filled):
    for noun in EXPORTS:
        for row in csv.reader(io.StringIO(written(filled, noun))):
            assert not [cell for cell in row if cell.startswith(("=", "+", "-", "@", "\t"))]


def test_events_say_places_by_their_codes(filled):
    rows = list(csv.DictReader(io.StringIO(written(filled, "events"))))
    assert [row["kind"] for row in rows] == ["received", "moved", "received"]
    assert rows[1]["data"] == '{"to": "north/hall"}'
    assert rows[1]["at"] == "2026-02-04T02:00:00Z"


def test_readings_come_again_as_they_were(filled, depot):
    filled.night()
    text = written(filled, "readings").encode()
    asked = ImportAsked(name="readings.csv")
    with depot.looking() as tx:
        read = read_import(tx, content=text, asked=asked, now=at(24.0))
    for pack in read.packs:
        with depot.writing() as tx:
            store_portion(tx, pack=pack, now=at(24.0))
    assert written(depot, "readings").encode() == text
    assert text.count(b"\n") > 40


def test_a_site_and_a_time_choose_where_they_make_sense(filled):
    filled.night()
    first, *_, last = csv.DictReader(io.StringIO(written(filled, "readings")))
    begin = datetime.fromisoformat(first["time"])
    asked = Asked(site="north", start=begin, end=begin + timedelta(minutes=30))
    some = list(csv.DictReader(io.StringIO(written(filled, "readings", asked))))
    assert 0 < len(some) < 40
    assert first in some
    assert last not in some
    assert [
        row["kind"]
        for row in csv.DictReader(
            io.StringIO(written(filled, "events", Asked(site="north", start=at(1.5), end=at(3.0))))
        )
    ] == ["moved"]
    for noun, wrong, field in (
        ("lots", Asked(site="north"), "site"),
        ("drums", Asked(end=at(1.0)), "end"),
        ("drums", Asked(site="nowhere"), "site"),
    ):
        with pytest.raises(Invalid) as raised:
            written(filled, noun, wrong)
        assert raised.value.faults[0].field == field


def test_sensors_say_where_they_hang(filled):
    rows = list(csv.DictReader(io.StringIO(written(filled, "sensors"))))
    assert "north/hall" in {row["hangs in"] for row in rows}
