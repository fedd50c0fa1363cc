"""Receiving drums over HTTP: from a supplier's label, eight alike in one go, and what is off."""

from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest

from drumkeep.domain.quantities import celsius_from_fahrenheit
from drumkeep.domain.roles import Role
from tests.builders.stock import Body, ago
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.html import Form, Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import LOT, Yard, yard

__all__ = ["manager", "serving", "yard"]

API = "/api/v1"
_FRESH = iter(range(100, 1000))


def gtin() -> str:
    """Return a number that nobody used; the check digit as section 7.9 of GS1's rules makes it."""
    body = f"0950600{next(_FRESH):06}"
    total = sum(int(digit) * (3, 1)[i % 2] for i, digit in enumerate(body))
    return f"{body}{-total % 10}"


def delivery(yard: Yard, **changes: Any) -> Body:
    usual = {
        "id": str(uuid4()),
        "product": yard.iso,
        "lot": LOT,
        "place": yard.place("hall"),
        "at": ago(0.1),
        "count": 1,
    }
    return usual | changes


def receive(yard: Yard, **changes: Any) -> list[Body]:
    answer = yard.client.post(f"{API}/deliveries", json=delivery(yard, **changes))
    assert answer.status_code == 201, answer.text
    found: list[Body] = answer.json()
    return found


def kinds(yard: Yard, tag: str) -> list[str]:
    return [event["kind"] for event in yard.history(tag)["events"]]


@pytest.fixture(scope="module")
def rosa(serving) -> Iterator[Person]:
    """Give somebody of the crew."""
    with signed_in(serving, "crew", display_name="Rosa") as person:
        yield person


def filled(person: Person, label: str = "", **fields: str) -> Form:
    """Scan a label on the page and return its form, filled in further."""
    answer = person.client.get("/receive", params={"label": label})
    assert answer.status_code == 200, answer.text
    form = Page(answer.text).forms[-1]
    assert form.action == "/receive"
    assert form.method == "post"
    form.fields |= fields
    return form


def test_eight_alike_are_received_from_one_scan_and_the_number_is_remembered(yard, rosa):
    number, before = gtin(), len(yard.client.get(f"{API}/drums?limit=200").json()["items"])
    label = f"]C101{number}3201005510112601131727011310B-77\x1d2100071"
    first = filled(rosa, label)
    assert first.fields["product"] == ""  # asked once
    assert "new here" in rosa.client.get("/receive", params={"label": label}).text
    assert first.fields["lot"] == "B-77"
    assert (first.fields["made_on"], first.fields["expires_on"]) == ("2026-01-13", "2027-01-13")
    assert first.fields["mass"] == "551"
    first.fields |= {"product": yard.iso, "count": "8", "place": yard.place("room")}
    first.fields |= {"temperature": "64", "measured": "dip", "fine": "yes"}
    answer = rosa.send(first)
    assert answer.status_code == 303, answer.text
    receipt = rosa.get(answer.headers["Location"])
    assert "8 drums received" in receipt.words
    assert "by Rosa" in receipt.words
    assert "64 °F by a dip" in receipt.words.replace("\N{NO-BREAK SPACE}", " ")
    tags = [a["href"][7:] for a in receipt.all("a") if a["href"].startswith("/drums/")]
    assert len(set(tags)) == 8
    assert len(yard.client.get(f"{API}/drums?limit=200").json()["items"]) == before + 8
    for tag in tags[:2]:
        drum = yard.get(tag)
        assert (drum["lot"], drum["product"]) == ("B-77", yard.iso)
        assert drum["net_kg"] == pytest.approx(551.0 * 0.45359237)
        assert drum["readiness"]["state"] != "on_hold"
        (came, looked) = yard.history(tag)["events"]
        assert came["data"]["liquid_c"] == pytest.approx(celsius_from_fahrenheit(64.0))
        assert looked["data"] == {"reached_bottom": False, "bulge": "none", "ring": "red"}
        assert number in came["note"]
        assert "00071" in came["note"]
    (labels,) = (a["href"] for a in receipt.all("a") if a["href"].startswith("/labels?tags"))
    assert all(tag in labels for tag in tags)
    again = filled(rosa, label)
    assert again.fields["product"] == yard.iso
    assert again.fields["place"] == yard.place("room")  # as the last time


def test_form_sent_twice_receives_once(yard, rosa):
    form = filled(rosa, product=yard.resin, lot=LOT, count="3", place=yard.place("dock"))
    locations = {rosa.send(form).headers["Location"] for _ in range(2)}
    (location,) = locations
    assert "3 drums received" in rosa.get(location).words


def test_same_delivery_again_gives_the_same_drums(yard):
    body = delivery(yard, count=2, measured="skin", liquid_c=18.0, looks={"bulge": "none"})
    first = yard.client.post(f"{API}/deliveries", json=body).json()
    again = yard.client.post(f"{API}/deliveries", json=body).json()
    assert [d["tag"] for d in first] == [d["tag"] for d in again]
    assert kinds(yard, first[0]["tag"]) == ["received", "skin", "inspected"]


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"looks": {"bulge": "seen"}}, "bulged on arrival"),
        ({"looks": {"solids": "seen"}}, "solids seen on arrival"),
        ({"looks": {"ring": "double"}}, "a double ring at the bung of what came as iso"),
        ({"looks": {"ring": "none"}}, "no ring at the bung of what came as iso"),
        ({"looks": {"damage": "dent under the lid"}}, "dent under the lid"),
        ({"expires_on": ago(24.0 * 3)[:10], "made_on": ago(24.0 * 30)[:10]}, "expired on"),
        ({"made_on": ago(24.0 * 30)[:10]}, "is on record as made"),
        ({"label": "(10)B-99"}, "its label says lot B-99"),
        ({"label": f"(10){LOT}(4332)005000", "liquid_c": 9.0}, "under the 50 °F (10.0 °C) of its"),
        ({"label": f"(10){LOT}(4331)003000", "liquid_c": 31.0}, "over the 86 °F (30.0 °C) of its"),
    ],
)
def test_what_is_off_puts_all_of_them_on_hold_with_the_reason(yard, changes, reason):
    lot = LOT if "expires_on" not in changes else f"X-{next(_FRESH)}"
    for drum in receive(yard, lot=lot, count=1 + ("looks" not in changes), **changes):
        assert drum["readiness"]["state"] == "on_hold"
        held = [e for e in yard.history(drum["tag"])["events"] if e["kind"] == "held"]
        assert reason in held[0]["data"]["reason"]


def test_red_ring_on_what_came_as_resin_is_held(yard):
    (drum,) = receive(yard, product=yard.resin, looks={"ring": "red"})
    assert drum["readiness"]["state"] == "on_hold"
    (drum,) = receive(yard, product=yard.resin, looks={"ring": "double"})
    assert "held" not in kinds(yard, drum["tag"])


@pytest.mark.parametrize(
    ("changes", "status", "field"),
    [
        ({"count": 0}, 422, "count"),
        ({"count": 41}, 422, "count"),
        ({"lot": "NEW-1"}, 422, "made_on"),
        ({"lot": "NEW 1", "made_on": "2026-01-13"}, 422, "code"),
        ({"product": "nothing"}, 422, "product"),
        ({"place": "north/nowhere"}, 422, "place"),
        ({"gtin": "09506000134353"}, 422, "gtin"),
        ({"net_kg": 399.0}, 422, "net_kg"),
        ({"liquid_c": 500.0}, 422, "liquid_c"),
        ({"at": ago(-5.0)}, 422, "at"),
        ({"looks": {"ring": "blue"}}, 422, "looks.ring"),
    ],
)
def test_what_cannot_be_received_is_told_and_nothing_is_stored(
    serving, yard, changes, status, field
):
    before = stored(serving)
    answer = yard.client.post(f"{API}/deliveries", json=delivery(yard, **changes))
    check_problem(answer, status, field)
    assert stored(serving) == before


def test_fault_on_the_form_keeps_what_was_filled_in_and_stores_nothing(serving, yard, rosa):
    form = filled(rosa, product=yard.iso, lot="NEW-2", count="8", place=yard.place("hall"))
    form.fields |= {"temperature": "64", "damage": "a dent"}
    before = stored(serving)
    answer = rosa.send(form)
    assert answer.status_code == 422
    page = Page(answer.text)
    assert "Made on is missing, and the lot is new here." in page.words
    kept = page.forms[-1].fields
    for name in ("id", "product", "lot", "count", "place", "temperature", "damage"):
        assert kept[name] == form.fields[name]
    assert stored(serving) == before
    kept["made_on"] = "2026-01-13"
    assert rosa.send(page.forms[-1]).status_code == 303


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"count": "1.5"}, "How many alike 1.5 is not a whole number"),
        ({"count": ""}, "How many alike is missing"),
        ({"temperature": "warm"}, "Temperature warm is not a number"),
        ({"fine": "yes", "bulge": "seen"}, "something off is told"),
        ({"place": ""}, "Into is not chosen"),
        ({"place": "", "at": "2026-01-31T05:00"}, "Into is not chosen"),
        ({"product": ""}, "Product"),
        ({"mass": "900"}, "Liquid in each"),
    ],
)
def test_slips_on_the_form_are_told_by_its_own_labels(yard, rosa, fields, words):
    usual = {"product": yard.iso, "lot": LOT, "count": "1", "place": yard.place("hall")}
    answer = rosa.send(filled(rosa, **(usual | fields)))
    assert answer.status_code == 422
    assert words in Page(answer.text).words.replace("\N{NO-BREAK SPACE}", " ")


def test_label_that_cannot_be_read_says_so_and_leaves_the_form(rosa):
    answer = rosa.client.get("/receive", params={"label": "(01)09506000134353"})
    assert answer.status_code == 422
    page = Page(answer.text)
    assert "Trade item number 09506000134353 does not add up" in page.words
    assert page.forms[-1].action == "/receive"


def test_lot_that_ran_together_is_left_to_the_person(rosa):
    answer = rosa.client.get("/receive", params={"label": f"01{gtin()}1022312100071"})
    page = Page(answer.text)
    assert page.forms[-1].fields["lot"] == ""
    assert "it is 22312100071 or 2231" in page.words
    assert {"2231", "22312100071"} <= {o["value"] for o in page.all("option")}


def test_label_is_looked_up_and_its_limits_are_held_against_the_product(yard):
    number = gtin()
    body = {"gtin": number, "product": yard.iso}
    assert yard.client.post(f"{API}/trade-items", json=body).status_code == 201
    label = f"(01){number}(10){LOT}(11)260101(4331)002000(4333)001500"
    answer = yard.client.post(f"{API}/supplier-labels", json={"label": label})
    found = answer.json()
    assert (found["product"], found["lot_known"]) == (yard.iso, True)
    assert (found["lowest_c"], found["highest_c"]) == (15.0, 20.0)
    told = " ".join(found["doubts"])
    assert "not under 15.0 °C" in told
    assert "not over 20.0 °C" in told
    assert "on record as made" in told
    bad = yard.client.post(f"{API}/supplier-labels", json={"label": "(01)09506000134353"})
    check_problem(bad, 422, "label.gtin")


def test_number_is_said_once_by_the_crew_and_anew_by_a_manager_alone(serving, yard):
    number = gtin()
    with serving.client(Role.CREW) as crew:
        item = {"gtin": number, "product": yard.iso}
        assert crew.post(f"{API}/trade-items", json=item).status_code == 201
        other = item | {"product": yard.resin}
        check_problem(crew.post(f"{API}/trade-items", json=other), 409, "product")
        body = delivery(yard, product=yard.resin, gtin=number)
        check_problem(crew.post(f"{API}/deliveries", json=body), 409, "product")
    assert yard.client.post(f"{API}/trade-items", json=other).json()["product"] == yard.resin
    listed = {
        i["gtin"]: i["product"] for i in yard.client.get(f"{API}/trade-items").json()["items"]
    }
    assert listed[number] == yard.resin


@pytest.mark.parametrize("role", list(Role))
def test_crew_receives_and_a_viewer_does_not(serving, yard, role):
    before = stored(serving)
    with serving.client(role) as client:
        answer = client.post(f"{API}/deliveries", json=delivery(yard))
    if role is Role.VIEWER:
        check_problem(answer, 403)
        assert stored(serving) == before
    else:
        assert answer.status_code == 201


def test_viewer_sees_no_form_and_cannot_post_one(serving, yard):
    with signed_in(serving, "viewer") as person:
        page = person.get("/receive")
        assert "Not yours to receive." in page.words
        assert not [form for form in page.forms if form.method == "post" and "id" in form.fields]
        fields = {"csrf": person.csrf(), "product": yard.iso, "lot": LOT, "count": "1"}
        assert person.client.post("/receive", data=fields).status_code == 403


def test_receipt_that_never_was_is_not_found(rosa):
    assert rosa.get(f"/receipts/{uuid4()}", 404)


def test_form_works_in_kilograms_and_celsius(serving, yard):
    with signed_in(serving, "crew", units="si") as person:
        form = filled(person, f"(01){gtin()}(10)K-{next(_FRESH)}(11)260113(3102)024988")
        assert form.fields["mass"] == "249.9"
        form.fields |= {"product": yard.iso, "count": "1", "place": yard.place("hall")}
        form.fields |= {"temperature": "17.5", "measured": "skin"}
        receipt = person.get(person.send(form).headers["Location"])
    assert "17.5 °C on the skin" in receipt.words.replace("\N{NO-BREAK SPACE}", " ")
    (tag,) = [a["href"][7:] for a in receipt.all("a") if a["href"].startswith("/drums/")]
    assert yard.get(tag)["net_kg"] == pytest.approx(249.9)
    assert yard.history(tag)["events"][1]["data"]["c"] == pytest.approx(17.5)


def test_all_that_is_wrong_on_the_form_is_told_at_once(serving, rosa):
    before = stored(serving)
    slips = {
        "count": "two",
        "temperature": "warm",
        "mass": "1,234",
        "at": "noon",
        "note": "x" * 3000,
        "place": "",
    }
    answer = rosa.send(filled(rosa, **slips))
    assert answer.status_code == 422
    told = Page(answer.text).words
    for words in (
        "Product is not chosen. Choose what is in them.",
        "Lot is missing. Write the lot that their label bears.",
        "How many alike two is not a number.",
        "Liquid in each 1,234 is not a number.",
        "Into is not chosen. Choose where they go.",
        "Temperature warm is not a number.",
        "When noon is not a time.",
        "is too long.",
    ):
        assert words in told
    assert stored(serving) == before


@pytest.mark.parametrize("slip", [{}, {"place": ""}, {"at": "noon"}])
def test_what_the_record_refuses_is_told_at_once_too(serving, yard, rosa, slip):
    before = stored(serving)
    wrong = {"lot": "NEW-3", "mass": "900", "temperature": "640", "count": "41"}
    usual = {"product": yard.iso, "place": yard.place("hall")}
    answer = rosa.send(filled(rosa, **(usual | wrong | slip)))
    assert answer.status_code == 422
    told = Page(answer.text).words.replace("\N{NO-BREAK SPACE}", " ")
    for words in (
        "How many alike 41 is too",
        "Liquid in each",
        "is hotter than any drum",
        "Made on is missing",
    ):
        assert words in told
    assert stored(serving) == before


@pytest.mark.parametrize(
    ("label", "field"),
    [
        ("(01){new}(10)F-1(11)260113", "product"),
        ("(01){known}(10)F-2", "made_on"),
        ("(01){known}(10)F-3(11)260113", "count"),
        ("(01){known}(10)F-4(11)260113(37)8", "place"),
    ],
)
def test_after_a_label_is_read_the_focus_is_where_the_person_goes_on(yard, rosa, label, field):
    known = gtin()
    item = {"gtin": known, "product": yard.iso}
    assert yard.client.post(f"{API}/trade-items", json=item).status_code == 201
    rosa.client.cookies.delete("drumkeep_receive")
    asked = {"label": label.format(new=gtin(), known=known)}
    page = Page(rosa.client.get("/receive", params=asked).text)
    (focused,) = (e["id"] for e in (*page.all("input"), *page.all("select")) if "autofocus" in e)
    assert focused == field
    (first,) = (e["id"] for e in rosa.get("/receive").all("input") if "autofocus" in e)
    assert first == "label"
