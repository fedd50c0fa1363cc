"""Drums over HTTP: received, one or many, all or none; found again by tag and in lists."""

import json
from random import SystemRandom
from uuid import uuid4

import pytest

from drumkeep.api.drums import MOST_AT_ONCE
from drumkeep.domain import tags
from drumkeep.domain.roles import Role
from tests.builders.stock import ago
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.serving import serving
from tests.fixtures.yard import AIR_C, API, LOT, yard

__all__ = ["serving", "yard"]


def post(yard, body, client=None):
    content = json.dumps(body)  # plain JSON: surrogates and all go through
    return (client or yard.client).post(
        f"{API}/drums", content=content, headers={"Content-Type": "application/json"}
    )


# Receiving


def test_a_drum_received_can_be_found_under_the_tag_it_was_given(yard):
    answer = post(yard, yard.drum(net_kg=240.0))

    assert answer.status_code == 201
    drum = answer.json()
    assert tags.parse(drum["tag"]) == drum["tag"]
    assert answer.headers["Location"] == f"{API}/drums/{drum['tag']}"
    assert yard.client.get(answer.headers["Location"]).json() == drum
    assert (drum["side"], drum["product"], drum["lot"]) == ("iso", yard.iso, LOT)
    assert (drum["site"], drum["place"]) == (yard.site, yard.place("hall"))
    assert (drum["net_kg"], drum["ended"], drum["condition"]) == (240.0, None, "clear")
    assert drum["estimate"]["basis"] == "measured"
    assert drum["estimate"]["mean_c"] == pytest.approx(AIR_C["hall"], abs=0.1)
    assert drum["readiness"]["state"] == "too_cold"  # under 70 °F, and the site sprays from 20
    assert drum["readiness"]["reasons"]


def test_a_drum_holds_what_its_products_drums_hold_unless_it_is_said(yard):
    assert yard.receive()["net_kg"] == 250.0  # design.md §4: default 250 kg iso, 227 kg resin
    assert yard.receive(product=yard.resin)["net_kg"] == 227.0


def test_many_drums_are_received_at_once_in_their_order(yard):
    bodies = [yard.drum(net_kg=100.0 + i, place=yard.place("van")) for i in range(5)]

    answer = post(yard, bodies)

    assert answer.status_code == 201
    assert [d["net_kg"] for d in answer.json()] == [100.0, 101.0, 102.0, 103.0, 104.0]
    assert len({d["tag"] for d in answer.json()}) == 5


def test_of_many_drums_all_are_received_or_none(yard):
    before = stored(yard.serving)

    answer = post(yard, [yard.drum(), yard.drum(), yard.drum(lot="L-9")])

    assert check_problem(answer, 422, "2.lot")["value"] == "L-9"
    assert stored(yard.serving) == before


def test_every_fault_of_every_drum_is_told(yard):
    bodies = [yard.drum(net_kg="much"), yard.drum(), yard.drum(at="yesterday", liquid_c=200.0)]

    answer = post(yard, bodies)

    assert [f["field"] for f in answer.json()["errors"]] == ["0.net_kg", "2.at", "2.liquid_c"]


def test_a_tag_is_taken_however_it_is_written(yard):
    for write in (str.lower, lambda tag: tag.replace("-", ""), lambda tag: f" {tag} "):
        tag = fresh_tag()

        assert yard.receive(tag=write(tag))["tag"] == tag
        assert yard.get(tag.lower())["tag"] == tag


def fresh_tag():
    return tags.make(SystemRandom())


REFUSED = [
    ({"tag": "K7Q-X4N"}, 422, "tag"),  # the check symbol is wrong
    ({"tag": "K7Q-X4"}, 422, "tag"),
    ({"tag": "K0Q-X4M"}, 422, "tag"),
    ({"tag": ""}, 422, "tag"),
    ({"tag": "x" * 21}, 422, "tag"),
    ({"product": "nothing"}, 422, "product"),
    ({"product": ""}, 422, "product"),
    ({"lot": "L-9"}, 422, "lot"),
    ({"lot": None}, 422, "lot"),
    ({"place": "nowhere/hall"}, 422, "place"),
    ({"place": "hall"}, 422, "place"),
    ({"place": 7}, 422, "place"),
    ({"from": "nowhere/hall"}, 422, "from"),
    ({"from": ""}, 422, "from"),
    ({"at": ago(-48.0)}, 422, "at"),
    ({"at": ago(24 * 91)}, 422, "at"),
    ({"at": ago(1.0).removesuffix("Z")}, 422, "at"),
    ({"at": "2026-02-30T05:00:00Z"}, 422, "at"),
    ({"at": "yesterday"}, 422, "at"),
    ({"at": 1_770_000_000}, 422, "at"),
    ({"at": "9999-12-31T23:59:59Z"}, 422, "at"),
    ({"id": "7"}, 422, "id"),
    ({"id": 7}, 422, "id"),
    ({"id": None}, 422, "id"),
    ({"net_kg": 0}, 422, "net_kg"),
    ({"net_kg": -1.0}, 422, "net_kg"),
    ({"net_kg": 300.0}, 422, "net_kg"),  # more than a drum of this density holds
    ({"net_kg": 500.0}, 422, "net_kg"),
    ({"net_kg": "250"}, 422, "net_kg"),
    ({"net_kg": True}, 422, "net_kg"),
    ({"net_kg": 10**400}, 422, "net_kg"),
    ({"net_kg": float("nan")}, 422, "net_kg"),
    ({"liquid_c": 151.0}, 422, "liquid_c"),
    ({"liquid_c": "20"}, 422, "liquid_c"),
    ({"share": 0.0}, 422, "share"),
    ({"share": 1.5}, 422, "share"),
    ({"tare_kg": 0.5}, 422, "tare_kg"),
    ({"note": "x" * 2001}, 422, "note"),
    ({"note": "a\x00b"}, 422, "note"),
    ({"note": "\ud800"}, 422, "note"),
    ({"colour": "blue"}, 422, "colour"),
    ({"from_": "x"}, 422, "from_"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "status", "field"), REFUSED)
@pytest.mark.parametrize("many", [False, True])
def test_what_cannot_be_received_is_refused_and_not_stored(yard, changes, status, field, many):
    body = yard.drum(**changes)
    before = stored(yard.serving)

    answer = post(yard, [body] if many else body)

    fault = check_problem(answer, status, f"0.{field}" if many else field)
    assert "pydantic" not in answer.text
    assert fault["mend"]
    assert stored(yard.serving) == before


def test_a_lot_of_another_product_is_not_taken(yard):
    lot = yard.lot(yard.resin, "ONLY-RESIN")

    assert check_problem(post(yard, yard.drum(lot=lot)), 422, "lot")["value"] == lot


def test_a_taken_tag_is_refused(yard):
    tag = yard.receive()["tag"]
    before = stored(yard.serving)

    check_problem(post(yard, yard.drum(tag=tag.lower())), 409, "tag")
    check_problem(post(yard, [yard.drum(), yard.drum(tag=tag)]), 409, "1.tag")

    assert stored(yard.serving) == before


def test_each_missing_field_is_named(yard):
    for left_out in ("id", "product", "lot", "place", "at"):
        body = {name: value for name, value in yard.drum().items() if name != left_out}

        assert check_problem(post(yard, body), 422, left_out)["value"] is None


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ([], ""),
        ("text", ""),
        (7, ""),
        (None, ""),
        ([7], "0"),
        ([[]], "0"),
        ({}, "id"),
    ],
)
def test_what_is_no_drum_and_no_list_of_drums_is_refused(yard, body, field):
    before = stored(yard.serving)

    check_problem(post(yard, body), 422, field)

    assert stored(yard.serving) == before


def test_more_than_five_hundred_drums_at_once_are_too_many(yard):
    before = stored(yard.serving)

    answer = post(yard, [yard.drum() for _ in range(MOST_AT_ONCE + 1)])

    assert MOST_AT_ONCE == 500
    assert "500" in check_problem(answer, 422, "")["mend"]
    assert stored(yard.serving) == before


def test_ten_megabytes_of_drums_are_refused(yard):
    before = stored(yard.serving)

    answer = post(yard, [yard.drum(note="x" * 2000) for _ in range(4500)])

    check_problem(answer, 413)
    assert stored(yard.serving) == before


def test_where_a_drum_came_from_gives_its_start(yard):
    from_dock = yard.receive(liquid_c=None, **{"from": yard.place("van")})
    unsaid = yard.receive(liquid_c=None)

    assert from_dock["estimate"]["mean_c"] == pytest.approx(AIR_C["van"], abs=1.0)
    assert unsaid["estimate"]["mean_c"] == pytest.approx(AIR_C["dock"], abs=1.0)


def test_who_only_looks_receives_nothing_and_the_crew_does(yard):
    with yard.serving.client(Role.VIEWER) as viewer, yard.serving.client(Role.CREW) as crew:
        check_problem(post(yard, yard.drum(), client=viewer), 403)
        assert post(yard, yard.drum(), client=crew).status_code == 201


# The same again


def test_sent_again_a_receipt_gets_the_same_answer_and_makes_nothing(yard):
    body = yard.drum(**{"from": yard.place("dock")}, net_kg=200.0, note="late", tag=fresh_tag())
    first = post(yard, body).json()
    before = stored(yard.serving)

    again = post(yard, body)

    assert again.status_code == 201
    assert again.json() == first
    assert stored(yard.serving) == before


def test_a_list_sent_again_gets_the_same_answer_and_what_is_new_is_added(yard):
    bodies = [yard.drum() for _ in range(3)]
    first = post(yard, bodies[:2]).json()

    again = post(yard, bodies).json()

    assert [d["tag"] for d in again[:2]] == [d["tag"] for d in first]
    assert again[2]["tag"] not in {d["tag"] for d in first}


@pytest.mark.parametrize(
    "changed",
    ["at", "place", "from", "net_kg", "liquid_c", "product", "note", "tag", "share", "tare_kg"],
)
def test_the_same_id_with_other_content_is_refused(yard, changed):
    body = yard.drum()
    post(yard, body)
    before = stored(yard.serving)
    other = {
        "at": ago(2.0),
        "place": yard.place("van"),
        "from": yard.place("van"),
        "net_kg": 200.0,
        "liquid_c": 19.0,
        "product": yard.resin,
        "note": "another",
        "tag": fresh_tag(),
        "share": 0.5,
        "tare_kg": 20.0,
    }[changed]

    check_problem(post(yard, body | {changed: other}), 409, "id")

    assert stored(yard.serving) == before


@pytest.mark.parametrize("name", ["id", "tag"])
def test_two_alike_in_one_list_are_refused(yard, name):
    value = {"id": str(uuid4()), "tag": fresh_tag()}[name]
    before = stored(yard.serving)

    answer = post(yard, [yard.drum(**{name: value}), yard.drum(), yard.drum(**{name: value})])

    assert "item 0" in check_problem(answer, 409, f"2.{name}")["problem"]
    assert stored(yard.serving) == before


# Finding


@pytest.mark.parametrize(
    ("address", "status", "field"),
    [
        ("K7Q-X4M", 404, "tag"),
        ("K7Q-X4N", 422, "tag"),
        ("nothing", 422, "tag"),
        ("a%00b", 422, "path"),
        ("K7Q-X4M?output=20", 422, "output"),
        ("K7Q-X4M?outptu=under_20", 422, "outptu"),
        ("?side=C", 422, "side"),
        ("?place=hall", 422, "place"),
        ("?place=", 422, "place"),
        ("?readiness=maybe", 422, "readiness"),
        ("?condition=cold", 422, "condition"),
        ("?output=20", 422, "output"),
        ("?limit=0", 422, "limit"),
        ("?limit=201", 422, "limit"),
        ("?cursor=x", 422, "cursor"),
        ("?colour=blue", 422, "colour"),
    ],
)
def test_what_cannot_be_asked_for_is_refused(yard, address, status, field):
    slash = "" if address.startswith("?") else "/"

    check_problem(yard.client.get(f"{API}/drums{slash}{address}"), status, field)


def listed(yard, **query):
    answer = yard.client.get(f"{API}/drums", params={"limit": 200} | query)
    assert answer.status_code == 200, answer.text
    return [d["tag"] for d in answer.json()["items"]]


def test_drums_are_listed_by_side_lot_and_place(yard):
    lot = yard.lot(yard.resin, "LISTED")
    here, there = yard.place("hall"), yard.place("van")
    resin = yard.receive(product=yard.resin, lot=lot, place=there)["tag"]
    iso = yard.receive(place=here)["tag"]

    assert {resin, iso} <= set(listed(yard))
    assert (resin in listed(yard, side="resin"), iso in listed(yard, side="resin")) == (True, False)
    assert listed(yard, lot=lot) == [resin]
    assert listed(yard, lot="never-made") == []
    assert resin in listed(yard, place=there)
    assert iso not in listed(yard, place=there)
    assert listed(yard, lot=lot, place=here) == []


def test_drums_are_listed_by_readiness_for_an_output(yard):
    cool, warm = (yard.receive(liquid_c=c)["tag"] for c in (18.0, 27.0))
    held = yard.receive(liquid_c=27.0)["tag"]
    yard.record(held, "held", reason="no label")

    # design.md §5: 70–90 °F from 20 lb a minute on, 50–90 °F under
    ready = listed(yard, readiness="ready", output="from_20")
    assert (cool in ready, warm in ready, held in ready) == (False, True, False)
    assert cool in listed(yard, readiness="ready", output="under_20")
    assert cool in listed(yard, readiness="too_cold")  # the site sprays from 20 on
    assert held in listed(yard, readiness="on_hold")
    assert yard.get(cool)["readiness"]["output"] == "from_20"
    assert yard.get(cool, output="under_20")["readiness"]["state"] == "ready"


def test_drums_are_listed_by_condition(yard):
    clear, cold = (yard.receive(liquid_c=c)["tag"] for c in (18.0, 8.0))
    warm = yard.receive(product=yard.resin, liquid_c=29.0)["tag"]
    bulged = yard.receive(product=yard.resin, liquid_c=29.0)["tag"]
    yard.record(bulged, "inspected", bulge="seen", at=ago())

    assert yard.get(clear)["condition"] == "clear"
    assert clear in listed(yard, condition="clear")
    assert cold not in listed(yard, condition="clear")
    assert cold in listed(yard, condition="seeding_risk")
    assert {warm, bulged} <= set(listed(yard, condition="gassing"))
    # the gravest stands alone; the rest beside it
    assert yard.get(bulged)["condition"] == "bulged"
    assert yard.get(bulged)["conditions"] == ["bulged", "gassing"]


def test_a_drum_gone_is_in_no_list_and_still_found(yard):
    tag = yard.receive()["tag"]
    yard.record(tag, "disposed")

    assert tag not in listed(yard)
    assert yard.get(tag)["ended"] == "disposed"


def test_a_long_list_comes_in_pages_that_miss_and_repeat_nothing(yard):
    lot = yard.lot(yard.iso, "PAGED")
    bodies = [yard.drum(lot=lot) for _ in range(7)]
    tags_made = [d["tag"] for d in post(yard, bodies).json()]

    for query in ({}, {"readiness": "too_cold"}, {"condition": "clear"}):
        seen: list[list[str]] = []
        after: dict[str, str] = {}
        while len(seen) < 3:
            params = {"lot": lot, "limit": 3} | query | after
            answer = yard.client.get(f"{API}/drums", params=params)
            assert answer.status_code == 200, (query, seen, answer.text)
            page = answer.json()
            seen.append([d["tag"] for d in page["items"]])
            after = {"cursor": page["next_cursor"]}
        assert seen == [tags_made[:3], tags_made[3:6], tags_made[6:]], query
        assert page["next_cursor"] is None
