"""A spreadsheet user's real mess, each with the fate that a person would expect of it."""

from datetime import date
from json import dumps
from uuid import uuid5

import pytest

from drumkeep.asgi.sheets import bring_in_sheet
from drumkeep.domain import tags
from drumkeep.domain.roles import Role
from drumkeep.errors import Invalid, Refused
from drumkeep.operations.drums import By, drum_tagged
from drumkeep.operations.lots import create_lot, lot_at
from drumkeep.operations.products import product_at
from drumkeep.operations.receipts import Receipt, receive_drums
from drumkeep.operations.sheet_reader import IDS
from drumkeep.storage import drums as drum_rows
from tests.fixtures.depot import BEGIN, MANAGER, at, depot, empty_depot, short_sight

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")

YEAR = BEGIN.year
DAY = BEGIN.date().isoformat()
TAG = "K7Q2M" + tags.check_symbol("K7Q2M")
HEAD = "product,lot,place,received,net mass,liquid temperature"


def drum(**cells):
    row = {"product": "iso", "lot": "2231", "place": "north/hall", "received": f"{DAY} 01:00"}
    return ",".join((row | cells).get(name, "") for name in HEAD.split(","))


def file(*rows, head=HEAD):
    return "\n".join([head, *rows])


def of(depot, content, *, noun="drums", **how):
    content = content if isinstance(content, bytes) else content.encode()
    how.setdefault("by", MANAGER)
    how.setdefault("now", at(24.0))
    with depot.writing() as tx:
        return bring_in_sheet(tx, noun=noun, content=content, **how)


def one(report):
    (row,) = report.rows
    return row.fate if not row.faults else row.faults[0].problem


LOT = "product,lot,made on"
TAKEN = {
    "a byte order mark": "\ufeff" + file(drum()),
    "UTF-16": file(drum()).encode("utf-16"),
    "Windows-1252": (file(drum() + ",Größe", head=HEAD + ",note")).encode("cp1252"),
    "semicolons": file(drum()).replace(",", ";"),
    "tabs": file(drum()).replace(",", "\t"),
    "pipes": file(drum()).replace(",", "|"),
    "a decimal comma": file(drum(**{"net mass": "226.8 kg"}))
    .replace(",", ";")
    .replace("6.8", "6,8"),
    "pounds": file(drum(**{"net mass": "500 lb"})),
    "a unit in the header": file(
        drum(**{"net mass": "500"}), head=HEAD.replace("net mass", "Net Weight (lbs)")
    ),
    "degrees Fahrenheit": file(drum(**{"liquid temperature": "68 °F"})),
    "degrees in the header": file(
        drum(**{"liquid temperature": "68"}), head=HEAD.replace("temperature", "Temp [°F]")
    ),
    "full": file(drum(**{"net mass": "Full"})),
    "n/a": file(drum(**{"net mass": "N/A", "liquid temperature": "-"})),
    "a no-break space": file(drum(**{"net mass": "500\N{NO-BREAK SPACE}lb"})),
    "empty rows behind": file(drum(), ",,,,,", ",,,,,", ""),
    "empty columns behind": file(drum() + ",,,", head=HEAD + ",,,"),
    "the header in row 3": "Stock of the north shed,,,,,\n\n" + file(drum()),
    "other words for the columns": file(drum(), head="Material,Batch No.,Location,Date,Net,Temp"),
    "a total below": file(drum(**{"net mass": "500 lb"}), "Total,,,,500 lb,"),
    "a product by its name": file(drum(product="OUR ISO")),
    "a place by its name": file(drum(place="Hall")),
    "old line ends": file(drum()).replace("\n", "\r"),
    "mixed line ends": file(drum(), ",,,,,").replace("\n", "\r\n", 1),
    "a quoted line break": file(drum() + ',"left\nbay"', head=HEAD + ",note"),
    "a side as A": file(drum() + ",ISO/A", head=HEAD + ",side"),
    "a tag in small letters without its dash": file(drum() + f",{TAG.lower()}", head=HEAD + ",tag"),
    "a serial date": file(drum(received=str((BEGIN.date() - date(1899, 12, 30)).days) + ".5")),
    "a month in words": file(drum(received=f"{BEGIN:%b} {BEGIN.day} {YEAR} 6:00 AM")),
    "an American hour": file(drum(received=f"{DAY} 6:00 AM")),
    "an hour without minutes": file(drum(received=f"{DAY} 2 am")),
    "a month in Spanish": file(drum(received=f"{BEGIN.day} de febrero de {YEAR}")),
    "curly quotes": file(drum(**{"net mass": "\u201c500 lb\u201d"})),
    "a zero-width space": file(drum(**{"net mass": "500\u200b lb"})),
    "an ordinal sign for degrees": file(drum(**{"liquid temperature": "64ºF"})),
}

REFUSED = {
    "half full": (file(drum(**{"net mass": "1/2 full"})), "is no mass"),
    "55 gal": (file(drum(**{"net mass": "55 gal"})), "is no mass"),
    "a mass without a unit": (file(drum(**{"net mass": "500"})), "says no unit"),
    "a temperature without a unit": (file(drum(**{"liquid temperature": "68"})), "says no unit"),
    "a lone comma before three digits": (
        file(drum(**{"net mass": "1,234 lb"}).replace("1,234 lb", '"1,234 lb"')),
        "may be 1234 or 1.234",
    ),
    "a merged cell": (file(drum(place="")), "is empty"),
    "a formula": (file(drum(**{"net mass": "=E1*2"})), "is a formula"),
    "a formula's error": (file(drum(**{"net mass": "#REF!"})), "is a formula"),
    "an unknown lot": (file(drum(lot="9999")), "is not known"),
    "a shortened lot": (file(drum(lot="2.2E+15")), "is a number that the spreadsheet shortened"),
    "the wrong side": (file(drum() + ",B", head=HEAD + ",side"), "is not the side of iso"),
    "a tag that a lookalike spoils": (file(drum() + ",K7Q-2MO", head=HEAD + ",tag"), "has 'O' in"),
    "another language's month": (file(drum(received="4. März 2026")), "is no date"),
    "a word for a date": (file(drum(received="last Tuesday")), "is no date"),
    "a date to come": (file(drum(received=f"{YEAR + 5}-01-01")), "is ahead"),
    "a cell beyond the header": (file(drum() + ",stray"), "has no header"),
    "an unknown place": (file(drum(place="north/nowhere")), "is not known"),
}

UNUSABLE = {
    "a workbook called csv": (b"PK\x03\x04rest", "is a workbook"),
    "an old workbook": (b"\xd0\xcf\x11\xe0rest", "is an old workbook"),
    "a PDF": (b"%PDF-1.7", "is a PDF"),
    "NUL bytes": (file(drum()).encode() + b"\0", "has NUL bytes"),
    "too large a file": (b"x" * 8_000_001, "is too large"),
    "no header": (drum().encode(), "has no header"),
    "a missing column": (file(drum(), head=HEAD.replace("lot", "x")).encode(), "has no such"),
    "a column twice": (file(drum() + ",b", head=HEAD + ",Batch").encode(), "means the same"),
    "an open quotation mark": (file(drum(), '"open').encode(), "breaks off"),
    "a header alone": (HEAD.encode(), "has no rows"),
}


def test_there_are_at_least_37_kinds_of_mess():
    assert len(TAKEN) + len(REFUSED) + len(UNUSABLE) >= 37


def test_mess_that_reads_one_way_only_is_taken(depot):
    fates = {name: one(of(depot, content, check=True)) for name, content in TAKEN.items()}
    assert fates == dict.fromkeys(TAKEN, "new")


def test_mess_that_leaves_a_doubt_is_refused_by_its_row_and_column(depot):
    for name, (content, problem) in REFUSED.items():
        report = of(depot, content)
        assert (report.rows[0].fate, report.stored) == ("refused", False), name
        fault = report.rows[0].faults[0]
        assert problem in fault.problem, name
        assert fault.field, name
        assert fault.mend, name


def test_what_is_no_such_file_is_refused_whole(depot):
    for name, (content, problem) in UNUSABLE.items():
        with pytest.raises(Invalid) as raised:
            of(depot, content)
        assert problem in raised.value.faults[0].problem, name


def test_a_date_that_reads_two_ways_names_both_unless_the_column_or_a_person_decides(depot):
    row = "iso,L1,3/4/26"
    told = one(of(depot, file(row, head=LOT), noun="lots", check=True))
    assert told == "may be 2026-03-04 or 2026-04-03"
    decided = of(depot, file(row, "iso,L2,1/31/26", head=LOT), noun="lots", now=at(24 * 90))
    assert [each.fate for each in decided.rows] == ["new", "new"]
    of(depot, file("iso,L3,3/4/26", head=LOT), noun="lots", day_first=True, now=at(24 * 90))
    with depot.looking() as tx:
        made = [lot_at(tx, product="iso", code=code).made_on for code in ("L1", "L3")]
    assert made == [date(2026, 3, 4), date(2026, 4, 3)]


def test_a_lot_that_lost_its_zeros_is_told_of_the_one_that_has_them(depot):
    with depot.writing() as tx:
        create_lot(tx, product="iso", code="0077", made_on=date(2026, 1, 20), now=BEGIN)
    assert one(of(depot, file(drum(lot="77")))) == "is not known, but 0077 is"


def test_units_arrive_as_they_were_meant(depot):
    # 500 lb = 226.796185 kg (1 lb = 0.45359237 kg exactly); 68 °F = 20 °C.
    row = drum(**{"net mass": "500 lb", "liquid temperature": "68 °F"}) + f",{TAG}"
    assert of(depot, file(row, head=HEAD + ",tag")).stored
    with depot.looking() as tx:
        kept = drum_tagged(tx, tag=TAG)
        event = drum_rows.event_rows(tx, drum_id=kept.id)[0]
    assert event.data["net_kg"] == pytest.approx(226.796185, abs=1e-9)
    assert event.data["liquid_c"] == pytest.approx(20.0, abs=1e-9)


def test_one_bad_row_keeps_all_out_unless_the_good_are_asked_for(depot):
    content = file(drum() + ",1", drum(lot="9999") + ",2", head=HEAD + ",number")
    assert not of(depot, content).stored
    with depot.looking() as tx:
        assert drum_rows.list_drums(tx) == []
    assert of(depot, content, take_good=True).count("new") == 1
    with depot.looking() as tx:
        assert len(drum_rows.list_drums(tx)) == 1


def test_a_file_twice_is_no_second_deed(depot):
    content = file(drum() + ",1", drum() + ",2", head=HEAD + ",number")
    assert of(depot, content).count("new") == 2
    again = of(depot, content)
    assert (again.count("there"), again.count("new")) == (2, 0)


def test_more_rows_than_are_taken_at_once_are_refused_whole(depot):
    content = file(drum() + ",1", drum() + ",2", head=HEAD + ",number")
    with pytest.raises(Invalid, match="has 2 rows, too many at once"):
        of(depot, content, most=1)


def test_eight_rows_alike_are_eight_drums_and_stay_eight(depot):
    alike = file(*[drum()] * 8)
    assert of(depot, alike).count("new") == 8
    assert of(depot, alike).count("there") == 8
    more = of(depot, file(*[drum()] * 9))
    assert (more.count("there"), more.count("new")) == (8, 1)


def test_a_tag_in_two_rows_is_told_by_the_first(depot):
    row = drum() + f",{TAG}"
    (_, second) = of(depot, file(row, row, head=HEAD + ",tag")).rows
    assert second.faults[0].problem == "stands in row 2 too"


def test_a_sheet_saved_again_in_another_style_is_there_already(depot):
    # 500 lb = 226.796 kg, 64 °F = 17.78 °C; one row of two is without mass and temperature
    warm = drum(**{"net mass": "500 lb", "liquid temperature": "64 °F"})
    assert of(depot, file(warm, drum(), head=HEAD)).count("new") == 2
    hour = f"{BEGIN:%d-%b-%y} 1:00 AM"
    again = file(
        f"17.8 C,226.8 kg,{hour},Hall,2231,OUR ISO,seen again",
        f",full,{hour},hall,2231,iso,",
        head="temp,weight,received on,location,batch,material,note",
    )
    told = of(depot, again)
    assert [row.fate for row in told.rows] == ["there", "there"]
    tagged = drum(**{"net mass": "500 lb"}) + f",{TAG}"
    assert of(depot, file(tagged, head=HEAD + ",tag")).count("new") == 1
    tagged = drum(**{"net mass": "226.8 kg"}) + f",{TAG}"
    assert of(depot, file(tagged, head=HEAD + ",tag")).count("there") == 1


def test_a_row_that_an_older_version_stored_is_known_by_its_cells(depot):
    cells = dict(zip(HEAD.split(","), drum().split(","), strict=True))
    made = Receipt(
        event_id=uuid5(IDS, dumps(sorted(cells.items()))),
        product="iso",
        lot="2231",
        place=depot.places["hall"],
        at=at(7.0),
    )
    with depot.writing() as tx:
        receive_drums(tx, receipts=[made], by=MANAGER, now=at(24.0))
    assert one(of(depot, file(drum()))) == "there"


@pytest.mark.parametrize("many", ["8 drums", "8 pcs", "x8", "8x", "8 ea", "8 tambores"])
def test_how_many_there_are_never_becomes_one_drum(depot, many):
    for head in (",number", ",qty"):
        fault = of(depot, file(drum() + f",{many}", head=HEAD + head)).rows[0].faults[0]
        assert "a row is one drum" in fault.problem
    assert one(of(depot, file(drum() + ",1", head=HEAD + ",qty"))) == "new"


def test_a_drum_whose_row_says_when_its_lot_was_made_brings_the_lot(depot):
    made = BEGIN.date().replace(day=1).isoformat()
    head = HEAD + ",made on"
    assert one(of(depot, file(drum(lot="NEW-1") + f",{made}", head=head))) == "new"
    with depot.looking() as tx:
        assert lot_at(tx, product="iso", code="NEW-1").made_on.isoformat() == made
    fault = of(depot, file(drum(lot="NEW-2"))).rows[0].faults[0]
    assert "made on" in fault.mend


def test_a_fault_quotes_the_cell_as_typed_and_speaks_in_its_unit(depot):
    hot, heavy, light = (
        of(depot, file(drum(**cells))).rows[0].faults[0]
        for cells in (
            {"liquid temperature": "640 F"},
            {"net mass": "9000 lb"},
            {"net mass": "-500 lb"},
        )
    )
    assert (hot.value, heavy.value, light.value) == ("640 F", "9000 lb", "-500 lb")
    assert "from -40 °F to 203 °F" in hot.mend
    assert heavy.mend.endswith(" lb.")
    early = of(depot, file(drum(received="3/31/16"))).rows[0].faults[0]
    assert early.value == "3/31/16"


def test_a_control_character_is_refused_in_a_note(depot):
    assert one(of(depot, file(drum() + ",a\x01b", head=HEAD + ",note"))).startswith("has control")


def test_a_crew_member_imports_drums_and_no_lots(depot):
    crew = By("crew", Role.CREW)
    assert one(of(depot, file(drum()), by=crew)) == "new"
    with pytest.raises(Refused):
        of(depot, file("iso,L9,2026-01-04", head=LOT), noun="lots", by=crew)


def test_what_a_product_file_has_no_column_for_stays_as_it_is(depot):
    head = "product,name,side,cell,system,net_kg [kg],storage_low_c [°C]"
    of(depot, file("heavy,Heavy,B,open,Alder,211.7,12.5", head=head), noun="products")
    told = of(
        depot,
        file("heavy,Heavier,B,open,", head="product,name,side,cell,net_kg [kg]"),
        noun="products",
    )
    assert told.rows[0].fate == "changed"
    with depot.looking() as tx:
        kept = product_at(tx, code="heavy")
    assert (kept.name, kept.system) == ("Heavier", "Alder")
    assert (kept.limits, kept.properties) == ({"storage_low_c": 12.5}, {})  # an empty cell clears


def test_a_lots_file_without_expiry_leaves_it(depot):
    of(depot, file("iso,L9,2026-01-04,2026-07-04", head=LOT + ",use by"), noun="lots")
    assert one(of(depot, file("iso,L9,2026-01-04", head=LOT), noun="lots")) == "there"


def test_a_fault_of_the_deed_names_the_files_own_column(depot):
    heavy = of(depot, file(drum(**{"net mass": "9000 lb"}), head=HEAD.replace("net mass", "Net")))
    assert heavy.rows[0].faults[0].field == "Net"
    head = "product,name,side,cell,Storage Low (°F)"
    cold = of(depot, file("x,X,B,open,-900", head=head), noun="products")
    assert cold.rows[0].faults[0].field == "Storage Low (°F)"


def test_totals_are_told_and_rows_with_a_tag_or_lot_are_none(depot):
    head = HEAD + ",number,note"
    rows = (drum() + ",1,Total", drum() + ",2,", "Grand total,,,,,,,", ",,Total,,500 lb,,,")
    report = of(depot, file(*rows, head=head), check=True)
    assert ([row.fate for row in report.rows], report.totals) == (["new", "new"], (4, 5))
    lot = of(depot, file(*("total," + row[4:] for row in [drum()])), check=True)
    assert one(lot) == "is not known"  # a product that is called so, with its lot
