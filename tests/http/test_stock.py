"""Stock over HTTP: what is there, what may be used, what it costs, and what was lost."""

import csv
from collections.abc import Iterator
from io import StringIO
from typing import Any

import pytest

from drumkeep.domain.roles import Role
from tests.builders import catalogue
from tests.builders.stock import Body, ago
from tests.fixtures.answers import check_problem
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.plots import own_place, own_product, own_site
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import LOT, Yard, yard

__all__ = ["manager", "serving", "yard"]

API = "/api/v1"
LB_KG = 0.45359237
"""Exact: international yard and pound agreement, 1959."""


@pytest.fixture(scope="module")
def mara(serving) -> Iterator[Person]:
    with signed_in(serving, "manager", display_name="Mara") as person:
        yield person


def stock(yard: Yard, **query: Any) -> Body:
    answer = yard.client.get(f"{API}/stock", params=query)
    assert answer.status_code == 200, answer.text
    found: Body = answer.json()
    return found


def price(yard: Yard, product: str, amount: float | None, per: str, lot: str | None = None) -> Body:
    body = {"product": product, "lot": lot, "amount": amount, "per": per}
    answer = yard.client.post(f"{API}/prices", json=body)
    assert answer.status_code == 201, answer.text
    found: Body = answer.json()
    return found


def own_lot(yard: Yard, product: str, code: str, *, made_days: float, left_days: float) -> str:
    """Make a lot that was made and expires so many days off."""
    body = {
        "product": product,
        "code": code,
        "made_on": ago(24.0 * made_days)[:10],
        "expires_on": ago(-24.0 * left_days)[:10],
    }
    assert yard.client.post(f"{API}/lots", json=body).status_code == 201
    return code


def test_drums_are_counted_by_place_and_lot_and_what_is_not_known_or_on_hold_is_apart(yard):
    site = own_site(yard)
    loft, den = own_place(yard, site=site), own_place(yard, site=site, name="Den")
    product = own_product(yard, side="iso")
    many = {"product": product, "lot": yard.lot(product, "S-1"), "liquid_c": 24.0}
    held = yard.receive(place=loft, **many)["tag"]
    yard.record(held, "held", reason="a dent")
    yard.receive(place=loft, net_kg=120.0, **many)
    yard.receive(place=den, **many)

    found = stock(yard, site=site)

    # no sensor measures here, so what is not on hold is not known, and counts for nothing
    assert (found["count"], found["on_hold"], found["unknown"], found["partial"]) == (3, 1, 2, 1)
    assert (found["ready_now"], found["ready_by"], found["next"]) == (0, 0, [])
    by_place = {line["place"]: line for line in found["lines"]}
    assert by_place[loft]["count"] == 2
    assert by_place[loft]["net_kg"] == pytest.approx(250.0 + 120.0)
    assert (by_place[den]["count"], by_place[den]["on_hold"]) == (1, 0)


def test_the_oldest_lot_is_next_and_of_one_lot_the_partly_used_drum(yard):
    product = own_product(yard, side="iso")
    old = own_lot(yard, product, "S-OLD", made_days=170.0, left_days=5.0)
    young = own_lot(yard, product, "S-YOUNG", made_days=160.0, left_days=15.0)
    where = {"product": product, "place": yard.place("hall"), "liquid_c": 20.0}
    full = yard.receive(lot=old, **where)["tag"]
    later = yard.receive(lot=young, **where)["tag"]
    partial = yard.receive(lot=old, net_kg=120.0, **where)["tag"]

    upcoming = stock(yard, site=yard.site)["next"]

    assert [drum["tag"] for drum in upcoming][:3] == [partial, full, later]


def test_ready_now_counts_for_tomorrow_only_where_the_air_keeps_it_so(yard):
    # a warm room at 27 °C keeps iso in its use band; the hall at 18 °C may not
    product = own_product(yard, side="iso")
    lot = yard.lot(product, "S-2")
    for place in ("room", "hall"):
        yard.receive(product=product, lot=lot, place=yard.place(place), liquid_c=26.0)

    lines = {
        line["place"]: line
        for line in stock(yard, site=yard.site)["lines"]
        if line["product"] == product
    }

    room, hall = lines[yard.place("room")], lines[yard.place("hall")]
    assert (room["ready_now"], room["may_leave"], room["ready_by"]) == (1, 0, 1)
    assert (hall["ready_now"], hall["may_leave"], hall["ready_by"]) == (1, 1, 0)


@pytest.mark.parametrize(
    ("place", "told", "counted"),
    [
        ("room", "ready_at", "ready_by"),
        ("hall", "ready_in_warm_room_at", "ready_by_if_moved"),
    ],
)
def test_what_will_be_ready_by_then_is_what_the_drum_itself_is_told_to_be(
    yard, place, told, counted
):
    product = own_product(yard, side="iso")
    many = {"product": product, "lot": yard.lot(product, LOT), "place": yard.place(place)}
    drums = [yard.receive(liquid_c=c, **many) for c in (8.0, 20.0)]

    (line,) = [one for one in stock(yard, site=yard.site)["lines"] if one["product"] == product]

    times = [yard.get(drum["tag"])["readiness"][told] for drum in drums]
    assert None not in times
    assert line["ready_now"] == 0
    assert line[counted] == sum(time <= line["by"] for time in times)
    assert line["ready_by"] + line["ready_by_if_moved"] == line[counted]


def test_what_must_be_mixed_before_use_is_apart_from_what_warms_up_by_itself(yard):
    body = catalogue.product(code=catalogue.fresh("iso"), limits={"agitate_before_use_min": 30.0})
    assert yard.client.post(f"{API}/products", json=body).status_code == 201
    product = body["code"]
    where = {"product": product, "lot": yard.lot(product, LOT), "place": yard.place("room")}
    drum = yard.receive(liquid_c=22.0, **where)  # a few hours from its use band, whatever the hour

    (line,) = [one for one in stock(yard, site=yard.site)["lines"] if one["product"] == product]

    told = yard.get(drum["tag"])["readiness"]
    assert told["state"] == "too_cold"
    assert told["ready_at"] <= line["by"]
    assert (line["ready_by"], line["ready_by_if_moved"], line["ready_by_if_mixed"]) == (0, 0, 1)


def test_sets_are_sure_only_within_one_named_system(yard):
    site = own_site(yard)
    place = own_place(yard, site=site)
    named = [own_product(yard, side=side, system="Alder") for side in ("iso", "resin")]
    for product in named:
        lot = yard.lot(product, "S-4")
        for _ in range(2 if product == named[0] else 1):
            yard.receive(product=product, lot=lot, place=place, liquid_c=24.0)
    assert stock(yard, site=site)["sets_not_on_hold"] == {"sure": 1, "at_most": 1}

    unnamed = own_product(yard, side="resin")
    yard.receive(product=unnamed, lot=yard.lot(unnamed, "S-5"), place=place, liquid_c=24.0)
    assert stock(yard, site=site)["sets_not_on_hold"] == {"sure": 1, "at_most": 2}


def test_what_ends_within_the_days_asked_for_is_expiring_and_what_ended_is_expired(yard):
    site = own_site(yard)
    place = own_place(yard, site=site)
    product = own_product(yard, side="iso")
    for code, left in (("S-6", 10.2), ("S-7", 40.2), ("S-8", -2.0)):
        lot = own_lot(yard, product, code, made_days=100.0, left_days=left)
        yard.receive(product=product, lot=lot, place=place)

    assert [stock(yard, site=site, days=days)["expiring"] for days in (5, 30, 60)] == [0, 1, 2]
    assert stock(yard, site=site)["expired"] == 1
    check_problem(yard.client.get(f"{API}/stock?days=-1"), 422, "days")
    check_problem(yard.client.get(f"{API}/stock?site=none"), 422, "site")


def test_cost_is_mass_times_price_of_the_lot_else_of_its_product_and_never_zero_unpriced(yard):
    site = own_site(yard)
    place = own_place(yard, site=site)
    product = own_product(yard, side="iso")
    lots = [yard.lot(product, code) for code in ("S-9", "S-10")]
    for lot in lots:
        yard.receive(product=product, lot=lot, place=place, net_kg=200.0)
    assert stock(yard, site=site)["cost"] == {"amount": 0.0, "currency": "USD", "unpriced": 2}

    price(yard, product, 300.0, "drum", lot=lots[0])  # a full one holds 250 kg
    cost = stock(yard, site=site)["cost"]
    assert (cost["amount"], cost["unpriced"]) == (pytest.approx(300.0 * 200.0 / 250.0), 1)

    price(yard, product, 2.0, "lb")
    cost = stock(yard, site=site)["cost"]
    assert cost["unpriced"] == 0
    assert cost["amount"] == pytest.approx(240.0 + 200.0 * 2.0 / LB_KG, abs=0.01)

    price(yard, product, None, "lb")  # taken back
    assert stock(yard, site=site)["cost"]["unpriced"] == 1


def test_only_a_manager_sets_prices_and_bad_ones_are_told(serving, yard):
    body = {"product": yard.iso, "amount": 1.0, "per": "kg"}
    for role in (Role.DISPATCHER, Role.CREW, Role.VIEWER):
        with serving.client(role) as client:
            assert client.post(f"{API}/prices", json=body).status_code == 403
    for changes, field in (
        ({"amount": -1.0}, "amount"),
        ({"per": "t"}, "per"),
        ({"product": "none"}, "product"),
        ({"lot": "none"}, "lot"),
    ):
        check_problem(yard.client.post(f"{API}/prices", json=body | changes), 422, field)


def test_what_was_thrown_away_or_expired_is_told_by_month_with_its_cost_and_reason(yard, mara):
    site = own_site(yard)
    place = own_place(yard, site=site)
    product = own_product(yard, side="iso")
    lot = yard.lot(product, "S-11")
    price(yard, product, 4.0, "kg")
    tags = [yard.receive(product=product, lot=lot, place=place)["tag"] for _ in range(4)]
    yard.record(tags[0], "disposed", reason="gelled")
    yard.record(tags[1], "held", reason="solids seen")
    yard.record(tags[1], "disposed")
    yard.record(tags[2], "emptied")  # used up
    yard.record(tags[3], "emptied", reason="water got in")

    answer = yard.client.get(f"{API}/stock/losses", params={"site": site})
    (month,) = answer.json()["items"]

    assert {loss["tag"]: loss["reason"] for loss in month["losses"]} == {
        tags[0]: "gelled",
        tags[1]: "solids seen",
        tags[3]: "water got in",
    }
    assert month["spoiled"]["amount"] == pytest.approx(3 * 250.0 * 4.0)
    assert month["expired"] == {"amount": 0.0, "currency": "USD", "unpriced": 0}

    words = mara.get(f"/stock/losses?site={site}").words.replace("\N{NO-BREAK SPACE}", " ")
    assert "3 drums, 3,000 USD" in words
    assert "water got in" in words
    table = mara.client.get(f"/stock/losses.csv?site={site}").text
    assert "water got in" in table


def test_a_correction_that_brings_a_drum_back_takes_the_loss_away(yard):
    site = own_site(yard)
    tag = yard.receive(place=own_place(yard, site=site))["tag"]
    gone = yard.record(tag, "disposed", reason="gelled")["event"]["id"]
    losses = f"{API}/stock/losses?site={site}"
    assert len(yard.client.get(losses).json()["items"]) == 1

    yard.record(tag, "corrected", event=gone, void=True)

    assert yard.client.get(losses).json()["items"] == []
    assert stock(yard, site=site)["count"] == 1


def test_the_page_tells_it_in_words_and_the_spreadsheet_in_columns(yard, mara):
    site = own_site(yard)
    place = own_place(yard, site=site, name="=1+1")  # what a spreadsheet would compute
    for side in ("iso", "resin"):
        product = own_product(yard, side=side, system="Birch")
        yard.receive(product=product, lot=yard.lot(product, LOT), place=place)

    page = mara.get(f"/stock?site={site}&days=60")
    assert "Drums 2: 1 A, 1 B." in page.words
    assert "1 set not on hold" in page.words
    assert "No price is on record" in page.words
    assert page.form("/stock").fields["days"] == "60"

    answer = mara.client.get(f"/stock.csv?site={site}")
    assert answer.headers["Content-Type"].startswith("text/csv")
    rows = list(csv.DictReader(StringIO(answer.text.removeprefix("\N{BYTE ORDER MARK}"))))
    assert [row["Drums"] for row in rows] == ["1", "1"]
    assert {row["Place"] for row in rows} == {"'=1+1"}
    assert rows[0]["Left, lb"].startswith("551")  # 250 kg
    assert rows[0]["Cost, USD"] == ""  # not known, and no 0


def test_an_empty_stock_and_a_strange_question_are_no_fault(mara):
    assert "No drum is here" in mara.get("/stock?site=none&days=x").words
    assert "Nothing was lost" in mara.get("/stock/losses?site=none").words


def test_a_price_set_on_the_page_counts_and_an_empty_field_takes_it_back(yard, mara):
    product = own_product(yard, side="iso")
    form = mara.fill("/stock/prices", "/stock/prices", product=product)
    form.fields |= {"product": product, "lot": "", "amount": "1,85", "per": "lb"}
    assert mara.send(form).status_code == 303
    assert "1.85 USD a lb" in mara.get("/stock/prices").words.replace("\N{NO-BREAK SPACE}", " ")
    form.fields |= {"amount": ""}
    assert mara.send(form).status_code == 303
    prices = yard.client.get(f"{API}/prices").json()["items"]
    assert [one["amount"] for one in prices if one["product"] == product] == [None]


def test_the_crew_sees_stock_and_no_form_to_change_prices(serving):
    with signed_in(serving, "crew") as rosa:
        assert Page(rosa.client.get("/stock").text).open == []
        page = rosa.get("/stock/prices")
        assert not [form for form in page.forms if form.action == "/stock/prices"]
