"""What happened to drums, from a spreadsheet: people's words and units, any order, and back."""

import csv
import io

import pytest

from drumkeep.asgi.sheets import bring_in_sheet
from drumkeep.domain.roles import Role
from drumkeep.operations.drums import By, drum_tagged, facts_of
from drumkeep.operations.exports import export_drums, export_events, write
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.tables.catalogue import Place
from tests.fixtures.depot import BEGIN, MANAGER, at, depot, empty_depot, short_sight

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")
DAY = f"{BEGIN.month}/{BEGIN.day}/{BEGIN.year}"
DAY_FIRST = {"day_first": False}


def of(depot, content, *, noun="events", **how):
    how = {"by": MANAGER, "now": at(24.0), **how}
    with depot.writing() as tx:
        return bring_in_sheet(tx, noun=noun, content=content.encode(), **how)


def log(depot, tag):
    with depot.looking() as tx:
        drum = drum_tagged(tx, tag=tag)
        return [(row.kind, row.at, row.data) for row in drum_rows.event_rows(tx, drum_id=drum.id)]


def faults(report):
    return {row.line: row.faults[0].problem for row in report.rows if row.faults}


def test_a_log_of_a_day_is_taken_as_people_write_it_newest_first(depot):
    # The site's clock is America/Chicago, six hours behind in February; 68 °F = 20 °C,
    # 500 lb = 226.796185 kg, 2 psi = 13.789514 kPa (NIST SP 811, B.8), 12 in = 0.3048 m.
    tag = depot.receive("hall", 0.5)
    content = "\ufeff" + "\n".join(
        [
            "Drum;Date;Time;What happened;Dip temp;Reading;Height [in];Net;Moved to;Gas;Pressure",
            f"{tag};{DAY};9:30 AM;blanketed;;;;;;nitrogen;2 psi",
            f"{tag};{DAY};9:00 AM;Opened;;;;;;;",
            f"{tag};{DAY};8:00 AM;Moved;;;;;Van;;",
            f"{tag.lower()};{DAY};7:00 AM;dip;;68 °F;12;;;;",
            f"{tag};{DAY};6:30 AM;Weighed;;;;500 lb;;;",
        ]
    )
    report = of(depot, content, **DAY_FIRST)
    assert report.stored, faults(report)
    assert report.unused == ("Dip temp",)
    kinds = [(kind, moment) for kind, moment, _ in log(depot, tag)][1:]
    assert kinds == [
        ("weighed", at(12.5)),
        ("dipped", at(13.0)),
        ("moved", at(14.0)),
        ("opened", at(15.0)),
        ("blanketed", at(15.5)),
    ]
    data = {kind: data for kind, _, data in log(depot, tag)}
    assert data["weighed"]["net_kg"] == pytest.approx(226.796185, abs=1e-6)
    assert data["dipped"] == pytest.approx({"c": 20.0, "height_m": 0.3048}, abs=1e-9)
    assert data["blanketed"]["kpa"] == pytest.approx(13.789514, abs=1e-5)
    assert data["moved"] == {"to": depot.places["van"]}
    again = of(depot, content, **DAY_FIRST)
    assert (again.count("there"), again.count("new")) == (5, 0)
    assert depot.recomputed(24.0)[tag].tobytes() == depot.state(tag).tobytes()


def test_what_cannot_be_is_refused_by_its_row_and_column(depot):
    tag = depot.receive("hall", 0.5)
    head = "tag,at,kind,temperature,net mass,to,solids,data,id"
    day = BEGIN.date().isoformat()
    rows = {
        f"{tag},{day} 12:00,exploded,,,,,,": "is nothing that happens to a drum here",
        f"{tag},{day} 12:00,dipped,68,,,,,": "says no unit",
        f"{tag},{day} 12:00,dipped,,,,,,": "is missing",
        f"{tag},{day} 12:00,opened,68 °F,,,,,": "is not told of a drum that was opened",
        f"{tag},{day} 12:00,weighed,,55 gal,,,,": "is no mass",
        f"{tag},{day} 12:00,weighed,,,,,,": "is not one",
        f"{tag},{day} 12:00,moved,,,north/nowhere,,,": "is not known",
        f"{tag},{day} 12:00,inspected,,,,perhaps,,": "is neither yes nor no",
        f"{tag},2031-01-01,opened,,,,,,": "is ahead",
        f"{tag},{day} 12:00,opened,,,,,,17": "is no UUID",
        f"{tag},{day} 12:00,heated,,,,,{{,": "is no JSON object",
        f"{tag},{day} 12:00,received,,,,,,": "is not when it was received",
        f"AAAAA-BB,{day} 12:00,opened,,,,,,": "",
        f"{tag},{day} 12:00,vented,,,,,,": None,
        f"{tag},{day} 12:00:00,vented,,,,,,": "stands in row",
    }
    told = faults(of(depot, "\n".join([head, *rows]), check=True))
    for line, (row, problem) in enumerate(rows.items(), start=2):
        if problem is None:
            assert line not in told
        else:
            assert problem in told[line], row
    assert len(log(depot, tag)) == 1


def test_each_row_takes_the_role_that_its_event_takes(depot):
    tag = depot.receive("hall", 0.5)
    day = BEGIN.date().isoformat()
    content = f"tag,at,kind,reason\n{tag},{day} 12:00,opened,\n{tag},{day} 13:00,disposed,spilt\n"
    report = of(depot, content, by=By("crew", Role.CREW), take_good=True)
    assert [row.fate for row in report.rows] == ["new", "refused"]
    assert report.rows[1].faults[0].field == "kind"


def test_a_place_that_is_full_takes_no_more(depot):
    tags = [depot.receive("hall", 0.5) for _ in range(2)]
    with depot.writing() as tx:
        van = tx.session.get(Place, depot.places["van"])
        van.capacity = 1
        tx.session.add(van)
    day = BEGIN.date().isoformat()
    rows = [f"{tag},{day} 12:0{i},moved,van" for i, tag in enumerate(tags)]
    told = faults(of(depot, "\n".join(["tag,at,kind,to", *rows])))
    assert list(told) == [3]
    assert "holds 1 drums" in told[3]


def written(depot, export):
    out = io.StringIO()
    with depot.looking() as tx:
        write(export(tx), out)
    return out.getvalue()


def records(depot):
    """Return tag, time, kind, data, note and id of all but receipts and their corrections."""
    receipts = [str(depot.receipt(row[0])) for row in rows_of(depot) if row[2] == "received"]
    return sorted(
        (*row[:5], row[-1])
        for row in rows_of(depot)
        if row[2] != "received" and not any(one in row[3] for one in receipts)
    )


def rows_of(depot):
    return list(csv.reader(io.StringIO(written(depot, export_events))))[1:]


@pytest.fixture
def lived(empty_depot, tmp_path_factory):
    """Give a depot in which all that a log may hold has happened."""
    with empty_depot.copy(tmp_path_factory.mktemp("lived")) as depot:
        iso, other = depot.receive("van", 1.0), depot.receive("hall", 1.0)
        resin = depot.receive("van", 1.0, side="resin")
        depot.record(iso, "moved", 2.0, to="hall")
        weighed = depot.record(iso, "weighed", 2.5, net_kg=150.0)
        dip = depot.record(iso, "dipped", 3.0, c=19.5, height_m=0.25)
        depot.record(iso, "topped", 4.0, **{"from": other, "kg": 20.0})
        depot.record(other, "decanted", 4.5, to=iso, kg=5.0)
        depot.record(resin, "moved", 4.6, to="hall")
        depot.record(iso, "opened", 4.7)
        depot.record(resin, "opened", 4.8)
        depot.record(resin, "ratio_off", 5.0)
        depot.record(iso, "inspected", 5.5, solids="none", bulge="none")
        depot.correct(dip, iso, recorded=6.0, c=18.5)
        depot.correct(weighed, iso, recorded=6.1, gross_kg=170.0)
        depot.correct(depot.receipt(other), other, recorded=6.2, net_kg=190.0)
        depot.record(other, "held", 7.0, reason="two  spaces, and a\nline")
        yield depot


def test_what_was_exported_comes_again_into_a_store_that_has_the_drums(lived, depot):
    drums, events = written(lived, export_drums), written(lived, export_events)
    assert of(depot, drums, noun="drums").stored
    report = of(depot, events)
    assert report.stored, faults(report)
    for tag in {row["tag"] for row in csv.DictReader(io.StringIO(events))}:
        facts = []
        for one in (lived, depot):
            with one.looking() as tx:
                facts.append(facts_of(tx, drum=drum_tagged(tx, tag=tag)))
        assert facts[0] == facts[1]
    kept = [records(one) for one in (lived, depot)]
    assert kept[0] == kept[1]
    assert len(kept[0]) == 16
    for one in (depot, lived):  # here too it is no second deed
        again = of(one, events)
        assert (again.count("there"), again.count("new")) == (len(again.rows), 0), faults(again)
