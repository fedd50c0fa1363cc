"""Drum events over HTTP: each kind once with its effect, and refused when it cannot be.

Over 400 lines because the table of kinds and the table of refusals are read side by side.
"""

import json
from datetime import datetime
from uuid import uuid4

import pytest

from drumkeep.asgi.event_shapes import SHAPES
from tests.builders.stock import FIELDS, ago, event
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.serving import serving
from tests.fixtures.yard import yard

__all__ = ["serving", "yard"]
pytestmark = pytest.mark.both_stores


@pytest.fixture(scope="module")
def idle(yard):
    """Give a drum to which nothing happens: what is sent of it is refused."""
    return yard.receive()["tag"]


@pytest.fixture(scope="module")
def other(yard):
    """Give a second drum, to pour into and from."""
    return yard.receive(net_kg=150.0)["tag"]


# Each kind once


EFFECTS = {
    "moved": lambda drum, yard: drum["place"] == yard.place("van"),
    "wanted": lambda drum, _: drum["wanted_at"] > ago() and drum["start_by"] is not None,
    "weighed": lambda drum, _: drum["net_kg"] == pytest.approx(200.0 - 18.1),
    "topped": lambda drum, _: drum["net_kg"] == 255.0,
    "decanted": lambda drum, _: drum["net_kg"] == 230.0,
    "dipped": lambda drum, _: 18.05 < drum["estimate"]["bottom_c"] < 18.55,
    "skin": lambda drum, _: drum["estimate"]["basis"] == "measured",
    "opened": lambda drum, _: drum["pressure_kpa"] == 0.0,
    "resealed": lambda drum, _: abs(drum["pressure_kpa"]) < 0.1,
    "vented": lambda drum, _: abs(drum["pressure_kpa"]) < 0.1,
    "blanketed": lambda drum, _: drum["pressure_kpa"] == pytest.approx(14.0, abs=0.1),
    "agitated": lambda drum, _: drum["estimate"]["bottom_c"] == drum["estimate"]["top_c"],
    "heated": lambda drum, _: drum["ended"] is None,
    "held": lambda drum, _: drum["readiness"]["state"] == "on_hold",
    "released": lambda drum, _: drum["readiness"]["state"] != "on_hold",
    "inspected": lambda drum, _: drum["condition"] == "clear",
    "ratio_off": lambda drum, _: drum["readiness"]["state"] == "on_hold",
    "emptied": lambda drum, _: (drum["ended"], drum["net_kg"]) == ("emptied", 0.0),
    "disposed": lambda drum, _: (drum["ended"], drum["net_kg"]) == ("disposed", 250.0),
}


@pytest.mark.parametrize("kind", EFFECTS)
def test_an_event_of_each_kind_has_its_effect_and_stands_in_the_history(yard, other, kind):
    drum = yard.receive()
    body = yard.event(kind, other=other)

    answer = yard.send(drum["tag"], body)

    assert answer.status_code == 201, answer.text
    recorded = answer.json()["event"]
    assert (recorded["id"], recorded["kind"]) == (body["id"], kind)
    assert EFFECTS[kind](answer.json()["drum"], yard), answer.json()["drum"]
    assert answer.json()["drum"] == yard.get(drum["tag"])
    assert yard.history(drum["tag"])["events"][-1] == recorded


def test_every_kind_is_tested():
    assert {*EFFECTS, "corrected"} == {kind.value for kind in SHAPES} == set(FIELDS)


def test_an_event_sent_again_gets_the_same_answer_and_is_recorded_once(yard, other):
    for kind in ("weighed", "wanted", "moved", "heated", "held"):
        tag = yard.receive()["tag"]
        body = yard.event(kind, other=other) | {"note": "by phone"}
        first = yard.send(tag, body)
        before = stored(yard.serving)

        again = yard.send(tag, body)

        assert (again.status_code, again.json()) == (201, first.json()), kind
        assert stored(yard.serving) == before


@pytest.mark.parametrize(
    "changes",
    [
        {"gross_kg": 150.0},
        {"at": ago(0.5)},
        {"note": "another"},
        {"gross_kg": "?", "net_kg": 181.9},
        {"kind": "decanted", "gross_kg": "?", "resolution_kg": "?", "kg": 20.0, "to": "other"},
    ],
)
def test_the_same_id_with_other_content_is_refused(yard, other, changes):
    tag = yard.receive()["tag"]
    body = event("weighed")
    yard.send(tag, body)
    before = stored(yard.serving)
    changed = body | {n: other if v == "other" else v for n, v in changes.items()}

    answer = yard.send(tag, {name: value for name, value in changed.items() if value != "?"})

    assert check_problem(answer, 409, "id")["value"] == body["id"]
    check_problem(yard.send(other, body), 409, "id")
    assert stored(yard.serving) == before


def test_the_id_of_a_receipt_is_no_id_for_an_event(yard):
    body = yard.drum()
    tag = yard.receive(**body)["tag"]

    check_problem(yard.send(tag, event("opened", id=body["id"])), 409, "id")


# What cannot be by itself


BAD = [
    # wrong type
    ("moved", {"to": 7}, "to"),
    ("moved", {"to": None}, "to"),
    ("weighed", {"gross_kg": "200"}, "gross_kg"),
    ("weighed", {"gross_kg": True}, "gross_kg"),
    ("topped", {"kg": [5]}, "kg"),
    ("dipped", {"c": {"value": 5}}, "c"),
    ("agitated", {"minutes": "half an hour"}, "minutes"),
    ("blanketed", {"regulator": "yes"}, "regulator"),
    ("blanketed", {"regulator": 1}, "regulator"),
    ("heated", {"until": 7}, "until"),
    ("held", {"reason": None}, "reason"),
    ("inspected", {"reached_bottom": "yes"}, "reached_bottom"),
    ("wanted", {"withdrawn": "yes"}, "withdrawn"),
    ("corrected", {"event": 7}, "event"),
    ("corrected", {"data": [1], "void": False}, "data"),
    ("opened", {"at": 1_770_000_000}, "at"),
    ("opened", {"id": 7}, "id"),
    ("opened", {"note": ["x"]}, "note"),
    # out of range, or in another unit
    ("weighed", {"gross_kg": 0.0}, "gross_kg"),
    ("weighed", {"gross_kg": 551.0}, "gross_kg"),  # pounds
    ("weighed", {"resolution_kg": 0.0}, "resolution_kg"),
    ("topped", {"kg": -5.0}, "kg"),
    ("decanted", {"kg": 0}, "kg"),
    ("dipped", {"c": 273.15 + 18}, "c"),  # kelvin
    ("dipped", {"height_m": 30.0}, "height_m"),  # inches
    ("dipped", {"height_m": -0.1}, "height_m"),
    ("dipped", {"sigma_k": 0.0}, "sigma_k"),
    ("skin", {"c": -61.0}, "c"),
    ("agitated", {"minutes": 0}, "minutes"),
    ("agitated", {"minutes": 601.0}, "minutes"),
    ("blanketed", {"kpa": 20.5}, "kpa"),
    ("blanketed", {"kpa": -1.0}, "kpa"),
    ("blanketed", {"gas": ""}, "gas"),
    ("heated", {"watts": -1.0}, "watts"),
    ("heated", {"watts": 0.0, "device": "base"}, "watts"),
    ("heated", {"thermostat_c": 400.0}, "thermostat_c"),
    ("heated", {"height_m": 0.2}, "height_m"),  # of a blanket
    ("heated", {"device": "band", "height_m": 0.95}, "height_m"),  # above the liquid
    ("heated", {"device": "band", "blanket_r_m2k_w": 0.3}, "blanket_r_m2k_w"),
    ("heated", {"watts": 5001.0}, "watts"),
    ("held", {"reason": ""}, "reason"),
    ("held", {"reason": "x" * 501}, "reason"),
    ("opened", {"note": "x" * 2001}, "note"),
    ("inspected", {"solids": "many"}, "solids"),
    ("inspected", {"ring": "green"}, "ring"),
    ("wanted", {"output": "20"}, "output"),
    ("opened", {"id": "not-a-uuid"}, "id"),
    # times
    ("opened", {"at": ago(-48.0)}, "at"),
    ("opened", {"at": ago(24.0 * 91)}, "at"),
    ("opened", {"at": ago(0.5).removesuffix("Z")}, "at"),
    ("opened", {"at": "half past four"}, "at"),
    ("opened", {"at": "1970-01-01T00:00:00Z"}, "at"),
    ("wanted", {"at": ago(1.0)}, "at"),
    ("wanted", {"at": "2101-01-01T00:00:00Z"}, "at"),
    ("heated", {"until": ago(0.5), "at": ago(0.5)}, "until"),
    ("heated", {"until": ago(0.5), "at": ago(0.1)}, "until"),
    ("heated", {"until": "2030-01-01T00:00:00"}, "until"),
    # references
    ("moved", {"to": "nowhere/hall"}, "to"),
    ("moved", {"to": "hall"}, "to"),
    ("topped", {"from": "K7Q-X4N"}, "from"),
    ("topped", {"from": "K7Q-X4M"}, "from"),
    ("decanted", {"to": "K7Q-X4M"}, "to"),
    ("corrected", {"event": str(uuid4())}, "event"),
    # one of two
    ("weighed", {"net_kg": 100.0}, "net_kg"),
    ("weighed", {"gross_kg": None}, "net_kg"),
    ("corrected", {"void": False, "event": str(uuid4())}, "data"),
    ("corrected", {"void": False, "event": str(uuid4()), "data": {}}, "data"),
    # what no field has room for
    ("opened", {"colour": "blue"}, "colour"),
    ("topped", {"from_": "x"}, "from_"),
    ("opened", {"note": "a\x00b"}, "note"),
    ("opened", {"note": "\ud800"}, "note"),
    ("held", {"reason": "\udfff"}, "reason"),
    ("weighed", {"gross_kg": 10**400}, "gross_kg"),
    ("agitated", {"minutes": 2**70}, "minutes"),
    ("dipped", {"c": float("nan")}, "c"),
    ("dipped", {"c": float("-inf")}, "c"),
    # no kind
    ("received", {"place": "x/y"}, "kind"),
    ("melted", {}, "kind"),
    ("", {}, "kind"),
    ("opened", {"kind": None}, "kind"),
    ("opened", {"kind": ["opened"]}, "kind"),
    ("opened", {"kind": 7}, "kind"),
    ("OPENED", {}, "kind"),
]  # fmt: skip


def post(yard, tag, body):
    """Send it as plain JSON, whatever is in it."""
    return yard.client.post(
        f"/api/v1/drums/{tag}/events",
        content=json.dumps(body),
        headers={"Content-Type": "application/json"},
    )


@pytest.mark.parametrize(("kind", "changes", "field"), BAD)
def test_what_cannot_be_is_refused_with_field_value_and_mend(  # noqa: PLR0917
    yard, idle, other, kind, changes, field
):
    body = yard.event(kind, other=other) | changes
    before = stored(yard.serving)

    answer = post(yard, idle, body)

    fault = check_problem(answer, 422, field)
    assert "Input should" not in answer.text
    unknown = field in {"colour", "from_"}  # may be a secret under a misspelt name
    if not isinstance(body.get(field), dict | list) and field != "data" and not unknown:
        assert fault["value"] is not None or body.get(field) is None
    assert stored(yard.serving) == before


@pytest.mark.parametrize("kind", FIELDS)
def test_each_missing_field_is_named(yard, idle, other, kind):
    body = yard.event(kind, other=other)
    needed = {
        info.alias or name for name, info in SHAPES[kind].model_fields.items() if info.is_required()
    }
    for left_out in needed:
        rest = {name: value for name, value in body.items() if name != left_out}

        fault = check_problem(yard.send(idle, rest), 422, left_out)

        assert fault["problem"] == "is missing"


@pytest.mark.parametrize("body", [[], "opened", 7, None, [event("opened")], {}])
def test_what_is_no_event_is_refused(yard, idle, body):
    before = stored(yard.serving)

    answer = post(yard, idle, body)

    check_problem(answer, 422, "kind" if body == {} else "")
    assert stored(yard.serving) == before


def test_an_event_of_ten_megabytes_is_refused(yard, idle):
    check_problem(post(yard, idle, event("opened", note="x" * 10_000_000)), 413)


@pytest.mark.parametrize(
    ("tag", "status"), [("K7Q-X4M", 404), ("K7Q-X4N", 422), ("x", 422), ("%F0%9F%9B%A2", 422)]
)
def test_an_event_of_no_drum_is_refused(yard, tag, status):
    check_problem(yard.send(tag, event("opened")), status, "tag")


def test_times_in_another_zone_are_kept_in_utc(yard):
    tag = yard.receive()["tag"]
    moment = datetime.fromisoformat(ago(0.5))

    for text in (
        moment.strftime("%Y-%m-%dT%H:%M:%S+00:00"),
        moment.strftime("%Y-%m-%d %H:%M:%Sz"),
        moment.strftime("%Y-%m-%dt%H:%M:%S.000Z"),
    ):
        recorded = yard.record(tag, "opened", at=text)["event"]
        assert recorded["at"] == moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def test_every_kind_of_event_is_described_with_its_fields(yard):
    described = yard.client.get("/openapi.json").json()["paths"]
    body = described["/api/v1/drums/{tag}/events"]["post"]["requestBody"]
    shapes = body["content"]["application/json"]["schema"]["oneOf"]
    kinds = [
        kind
        for shape in shapes
        for kind in (
            shape["properties"]["kind"].get("enum") or [shape["properties"]["kind"]["const"]]
        )
    ]

    assert sorted(kinds) == sorted(kind.value for kind in SHAPES)
    assert all({"id", "kind", "at"} <= set(shape["required"]) for shape in shapes)
