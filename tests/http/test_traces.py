"""Traces over HTTP: from a lot to drums, places and temperatures, and from a place back to lots."""

import csv
from collections.abc import Iterator
from io import StringIO
from urllib.parse import urlencode

import pytest

from drumkeep.domain.quantities import fahrenheit
from tests.builders.stock import Body, ago
from tests.fixtures.people import Person, signed_in
from tests.fixtures.plots import own_place
from tests.fixtures.pulling import Pulling, pulling
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import LOT, Yard, yard

__all__ = ["manager", "pulling", "serving", "yard"]

TRACES = "/api/v1/traces"


@pytest.fixture(scope="module")
def mara(serving) -> Iterator[Person]:
    with signed_in(serving, "manager", display_name="Mara") as person:
        yield person


@pytest.fixture(scope="module")
def moved(yard: Yard) -> str:
    """Give a drum that came cold, stood in the hall for 20 h and then 10 h in the van."""
    tag: str = yard.receive(lot=yard.lot(yard.iso, "L-trace"), at=ago(30.0), liquid_c=18.0)["tag"]
    yard.record(tag, "moved", at=ago(10.0), to=yard.place("van"))
    yard.advance()
    return tag


def trace(yard: Yard, of: str, **query: str) -> Body:
    answer = yard.client.get(f"{TRACES}/{of}", params=query)
    assert answer.status_code == 200, answer.text
    found: Body = answer.json()
    return found


def test_a_lot_leads_to_its_drums_places_temperatures_and_sensors(yard, moved):
    told = trace(yard, "lot", product=yard.iso, lot="L-trace")
    (drum,) = told["drums"]
    assert (drum["drum"], drum["lot"]) == (moved, "L-trace")
    hall, van = drum["stays"]
    assert (hall["place"], van["place"]) == (yard.place("hall"), yard.place("van"))
    assert (hall["until"], van["until"]) == (van["since"], None)
    # The hall is at 18 °C as the drum was; the van at 12 °C takes it down and not below.
    assert 17.5 < hall["bottom_min_c"] <= hall["bottom_max_c"] < 18.5
    assert 12.0 <= van["bottom_min_c"] < 17.0
    assert van["low_c"] <= van["bottom_min_c"] <= van["bottom_mean_c"] <= van["high_c"]
    assert (hall["hours"], van["hours"]) == pytest.approx((20.0, 10.0), abs=0.2)
    assert [e["kind"] for e in drum["events"]] == ["received", "moved"]
    assert {limit["name"]: limit["c"] for limit in told["limits"]}["seed_c"] == 10.0  # 50 °F
    assert {s["sensor"] for s in told["sensors"]} == {yard.sensors["hall"], yard.sensors["van"]}


def test_what_was_poured_leads_on_to_the_drum_that_took_it(yard):
    lot = yard.lot(yard.iso, "L-poured")
    donor = yard.receive(lot=lot, at=ago(8.0), net_kg=200.0)["tag"]
    other = yard.receive(at=ago(8.0), net_kg=100.0)["tag"]
    yard.record(donor, "decanted", at=ago(4.0), to=other, kg=50.0)
    yard.record(other, "moved", at=ago(2.0), to=yard.place("van"))
    told = trace(yard, "lot", product=yard.iso, lot="L-poured")
    assert [p["drum"] for p in told["drums"][0]["poured_out"]] == [other]
    (receiver,) = told["receivers"]
    assert (receiver["drum"], receiver["lot"]) == (other, LOT)
    assert receiver["poured_in"][0]["lot"] == "L-poured"
    assert receiver["stays"][-1]["place"] == yard.place("van")


def test_it_tells_on_which_pull_list_a_drum_was_and_who_took_it(pulling: Pulling, mara):
    iso, resin = pulling.warm(), pulling.warm("resin")
    pull = pulling.pull()
    taken = pulling.do(pull, "take", tag=iso)
    assert taken.status_code == 200, taken.text
    (told,) = trace(pulling.yard, "drum", drum=iso)["drums"][0]["pulls"]
    assert (told["pull"], told["wanted_at"], told["taken_by"]) == (
        pull["id"],
        None,
        "test manager",
    )
    (waits,) = trace(pulling.yard, "drum", drum=resin)["drums"][0]["pulls"]
    assert waits["taken_at"] is None
    words = mara.get(f"/trace?tag={iso}").words
    assert f"On list {pull['id']}, wanted at once, taken by test manager" in words
    assert (
        f"On list {pull['id']}, wanted at once, not taken." in mara.get(f"/trace?tag={resin}").words
    )
    (line,) = csv.DictReader(StringIO(mara.client.get(f"/trace.csv?tag={iso}").text))
    assert line["pull_lists"] == str(pull["id"])


def test_a_vehicle_and_a_time_lead_back_to_drums_and_lots(yard, moved):
    van = yard.place("van")
    told = trace(yard, "place", place=van, start=ago(9.0), end=ago(7.0))
    (drum,) = [d for d in told["drums"] if d["drum"] == moved]
    (stay,) = drum["stays"]
    assert stay["hours"] == pytest.approx(2.0, abs=0.2)
    before = trace(yard, "place", place=van, start=ago(15.0), end=ago(11.0))
    assert moved not in [d["drum"] for d in before["drums"]]


def test_as_csv_there_is_a_line_for_each_stay_in_the_units_that_were_asked(yard, moved):
    stays = trace(yard, "drum", drum=moved)["drums"][0]["stays"]
    query = {"drum": moved, "format": "csv", "units": "us"}
    answer = yard.client.get(f"{TRACES}/drum", params=query)
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert f'filename="drum-{moved}.csv"' in answer.headers["Content-Disposition"]
    lines = list(csv.DictReader(StringIO(answer.text.removeprefix("\N{BYTE ORDER MARK}"))))
    assert [line["place"] for line in lines] == ["hall", "van"]
    assert lines[0]["since"].endswith(("-05:00", "-06:00"))  # as it is written in Chicago
    assert float(lines[1]["bottom_min_f"]) == pytest.approx(
        fahrenheit(stays[1]["bottom_min_c"]), abs=0.006
    )


def test_a_name_that_a_spreadsheet_would_run_is_only_a_name(yard):
    lot = yard.lot(yard.iso, "=1+2")
    yard.receive(lot=lot)
    query = {"product": yard.iso, "lot": lot, "format": "csv"}
    answer = yard.client.get(f"{TRACES}/lot", params=query)
    (line,) = csv.DictReader(StringIO(answer.text))
    assert line["lot"] == "'=1+2"


def test_what_is_not_known_is_told_by_field(yard):
    missing = {"product": yard.iso, "lot": "none"}
    for of, query, field in [
        ("lot", missing, "lot"),
        ("place", {"place": "x/y", "start": ago(2.0), "end": ago(1.0)}, "place"),
        ("place", {"place": yard.place("van"), "start": ago(1.0), "end": ago(2.0)}, "end"),
    ]:
        answer = yard.client.get(f"{TRACES}/{of}", params=query)
        assert answer.status_code == 422, answer.text
        assert answer.json()["errors"][0]["field"] == field
    assert yard.client.get(f"{TRACES}/drum", params={"drum": "222-2222"}).status_code in (404, 422)


def test_the_page_shows_it_and_leads_to_the_same_as_a_table(yard, moved, mara):
    page = mara.get(f"/trace?{urlencode({'lot': 'L-trace'})}")
    assert "Trace of lot L-trace" in page.words
    assert "None of these drums was at a job site or on a rig." in page.words
    assert "No sensor was missing or doubted" in page.words
    (file,) = [a["href"] for a in page.all("a") if a["href"].startswith("/trace.csv")]
    answer = mara.client.get(file)
    assert answer.status_code == 200
    assert moved in answer.text
    asked = page.form("/trace", place="")
    asked.fields |= {"place": yard.place("van"), "start": "2026-01-31T05:00"}
    back = mara.get(f"/trace?{urlencode(asked.fields)}")
    assert "Trace of Van" in back.words
    assert moved in back.words


def test_a_lot_was_used_on_the_rig_and_not_in_the_van_that_brought_it(yard, mara):
    rig = own_place(yard, site=yard.site, kind="rig", name="Rig 7")
    lot = yard.lot(yard.iso, "L-used")
    tag = yard.receive(lot=lot, at=ago(3.0))["tag"]
    yard.record(tag, "moved", at=ago(2.0), to=yard.place("van"))
    yard.record(tag, "moved", at=ago(1.0), to=rig)
    words = mara.get(f"/trace?{urlencode({'lot': lot, 'product': yard.iso})}").words
    used = words.partition("Where it was used")[2].partition("Jobs are told")[0]
    assert used.strip() == "Rig 7 (rig, North yard)"


def test_a_lot_that_two_products_have_is_asked_about(yard, mara):
    page = mara.get(f"/trace?lot={LOT}")
    ways = [a["href"] for a in page.all("a") if "product=" in a["href"]]
    assert any(yard.resin in way for way in ways)
    assert any(yard.iso in way for way in ways)


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("lot=none", "is of no drum here"),
        ("tag=22", "Drum 22"),
        ("place=x/y&start=2026-01-31T05:00", "Place"),
        ("place=VAN&start=", "From is missing"),
        ("place=VAN&start=soon", "is not a time"),
    ],
)
def test_what_cannot_be_traced_is_said_on_the_page(yard, mara, query, words):
    assert words in mara.get(f"/trace?{query.replace('VAN', yard.place('van'))}", status=422).words


def test_a_place_alone_fills_in_the_form(yard, mara):
    page = mara.get(f"/trace?place={yard.place('van')}")
    assert page.form("/trace", place=yard.place("van")).fields["start"] == ""
