"""An event that was wrong is put right by another one; the log keeps both."""

from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import pytest
from sqlmodel import col, update

from drumkeep.domain.roles import Role
from drumkeep.storage.tables.drums import Event
from drumkeep.storage.transaction import transaction
from tests.builders import catalogue as build
from tests.builders.stock import ago, event
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.serving import serving
from tests.fixtures.yard import API, yard

__all__ = ["serving", "yard"]


def correct(yard, tag, event_id, *, client=None, **changes):
    body = event("corrected", event=event_id, void=False, **changes)
    return yard.send(tag, body, client=client)


def corrected(yard, tag, event_id, **changes):
    answer = correct(yard, tag, event_id, **changes)
    assert answer.status_code == 201, answer.text
    return answer.json()["drum"]


def receipt(yard, tag):
    return yard.history(tag)["events"][0]["id"]


def test_a_field_is_replaced_and_the_log_keeps_both(yard):
    tag = yard.receive()["tag"]
    wrong = yard.record(tag, "weighed", gross_kg=118.1)
    assert wrong["drum"]["net_kg"] == pytest.approx(100.0)

    drum = corrected(yard, tag, wrong["event"]["id"], data={"gross_kg": 218.1})

    assert drum["net_kg"] == pytest.approx(200.0)
    _, first, second = yard.history(tag)["events"]
    assert (first["data"]["gross_kg"], second["data"]["data"]["gross_kg"]) == (118.1, 218.1)
    assert second["data"]["event"] == first["id"]


def test_a_gross_weight_is_corrected_to_a_net_one(yard):
    tag = yard.receive()["tag"]
    wrong = yard.record(tag, "weighed", gross_kg=118.1)["event"]["id"]

    assert corrected(yard, tag, wrong, data={"net_kg": 90.0})["net_kg"] == 90.0
    assert corrected(yard, tag, wrong, data={"gross_kg": 98.1})["net_kg"] == pytest.approx(80.0)


def test_a_time_is_replaced(yard):
    tag = yard.receive()["tag"]
    yard.record(tag, "held", reason="no label", at=ago(0.6))
    released = yard.record(tag, "released", at=ago(0.5))
    assert released["drum"]["readiness"]["state"] == "too_cold"

    drum = corrected(yard, tag, released["event"]["id"], new_at=ago(0.8))

    assert drum["readiness"]["state"] == "on_hold"


def test_a_place_is_replaced_and_told_by_its_name(yard):
    tag = yard.receive()["tag"]
    moved = yard.record(tag, "moved", to=yard.place("van"), at=ago(0.5))["event"]["id"]

    drum = corrected(yard, tag, moved, data={"to": yard.place("room")})

    assert drum["place"] == yard.place("room")
    assert yard.history(tag)["events"][-1]["data"]["data"] == {"to": yard.place("room")}


def test_an_event_is_withdrawn_and_then_no_longer_corrected(yard):
    tag = yard.receive()["tag"]
    moved = yard.record(tag, "moved", to=yard.place("van"), at=ago(0.5))["event"]["id"]

    drum = yard.record(tag, "corrected", event=moved)["drum"]

    assert drum["place"] == yard.place("hall")
    for changes in ({"new_at": ago(0.4)}, {"data": {"to": yard.place("room")}}):
        assert (
            "withdrawn"
            in check_problem(correct(yard, tag, moved, **changes), 409, "event")["problem"]
        )
    check_problem(yard.send(tag, event("corrected", event=moved)), 409, "event")


def test_what_ended_a_drum_by_mistake_is_withdrawn(yard):
    tag = yard.receive()["tag"]
    gone = yard.record(tag, "emptied")["event"]["id"]

    drum = yard.record(tag, "corrected", event=gone)["drum"]

    assert (drum["ended"], drum["net_kg"]) == (None, 250.0)


def test_a_receipt_is_corrected(yard):
    tag = yard.receive(liquid_c=10.0)["tag"]

    drum = corrected(
        yard,
        tag,
        receipt(yard, tag),
        new_at=ago(2.0),
        data={"place": yard.place("van"), "net_kg": 200.0, "liquid_c": 22.0},
    )

    assert (drum["place"], drum["net_kg"]) == (yard.place("van"), 200.0)
    assert drum["received_at"] < ago(1.9)
    assert 19.0 < drum["estimate"]["mean_c"] < 22.0


def test_a_receipt_is_not_withdrawn(yard):
    tag = yard.receive()["tag"]
    before = stored(yard.serving)

    check_problem(yard.send(tag, event("corrected", event=receipt(yard, tag))), 409, "at")

    assert stored(yard.serving) == before


def test_the_last_of_several_corrections_holds_for_each_field(yard):
    tag = yard.receive()["tag"]
    dipped = yard.record(tag, "dipped", c=12.0, height_m=0.1)["event"]["id"]
    for changes in ({"c": 15.0}, {"height_m": 0.4}, {"c": 30.0}, {"c": 18.0}):
        drum = corrected(yard, tag, dipped, data=changes)

    assert drum["estimate"]["mean_c"] == pytest.approx(18.0, abs=0.1)


@pytest.fixture(scope="module")
def eventful(yard):
    """Give a drum to which much has happened, and its events by kind. No test may change it."""
    tag, other = yard.receive()["tag"], yard.receive(net_kg=100.0)["tag"]
    own = {
        "moved": {"to": yard.place("van")},
        "heated": {"until": ago(0.1)},
        "decanted": {"to": other},
        "wanted": {"at": ago(-20.0)},
    }
    kinds = ("weighed", "dipped", "moved", "heated", "decanted", "held", "inspected", "opened")
    return tag, {
        kind: yard.record(tag, kind, **({"at": ago(0.5)} | own.get(kind, {})))["event"]["id"]
        for kind in (*kinds, "wanted")
    }


@pytest.mark.parametrize(
    ("kind", "changes", "field"),
    [
        ("weighed", {"gross_kg": "much"}, "data.gross_kg"),
        ("weighed", {"gross_kg": None, "kg": 5.0}, "data.kg"),
        ("weighed", {"gross_kg": 5.0}, "gross_kg"),
        ("weighed", {"net_kg": 300.0}, "net_kg"),
        ("dipped", {"c": 300.0}, "data.c"),
        ("dipped", {"c": None}, "data.c"),
        ("dipped", {"height_m": 1.0}, "height_m"),
        ("moved", {"to": "nowhere/hall"}, "data.to"),
        ("moved", {"to": 1}, "data.to"),
        ("moved", {"id": str(uuid4())}, "data.id"),
        ("moved", {"at": ago(0.2)}, "data.at"),
        ("heated", {"until": "tomorrow"}, "data.until"),
        ("heated", {"until": ago(0.9)}, "until"),
        ("heated", {"watts": -1.0}, "data.watts"),
        ("heated", {"watts": 0.0, "device": "base"}, "watts"),
        ("decanted", {"to": "K7Q-X4M"}, "data.to"),
        ("decanted", {"kg": 1000.0}, "data.kg"),
        ("held", {"reason": ""}, "data.reason"),
        ("inspected", {"solids": "few"}, "data.solids"),
        ("opened", {"colour": "blue"}, "data.colour"),
        ("wanted", {"output": "fast"}, "data.output"),
    ],
)
def test_a_correction_is_checked_as_strictly_as_the_event(yard, eventful, kind, changes, field):
    tag, events = eventful
    before = stored(yard.serving)

    answer = correct(yard, tag, events[kind], data=changes)

    check_problem(answer, 422, field)
    assert "Input should" not in answer.text
    assert stored(yard.serving) == before


def test_a_correction_to_an_impossible_past_is_refused(yard):
    tag = yard.receive()["tag"]
    moved = yard.record(tag, "moved", to=yard.place("van"), at=ago(0.5))["event"]["id"]
    before = stored(yard.serving)

    check_problem(correct(yard, tag, moved, new_at=ago(2.0)), 409, "at")  # before the receipt
    check_problem(correct(yard, tag, moved, new_at=ago(-2.0)), 422, "new_at")
    check_problem(correct(yard, tag, moved, new_at=ago(24.0 * 91)), 422, "new_at")
    check_problem(correct(yard, tag, moved, data={"to": yard.place("hall")}), 409, "to")
    check_problem(correct(yard, tag, receipt(yard, tag), new_at=ago(0.2)), 409, "at")

    assert stored(yard.serving) == before


def test_only_events_of_this_drum_are_corrected(yard):
    one, other = yard.receive()["tag"], yard.receive()["tag"]
    of_other = yard.record(other, "opened")["event"]["id"]
    before = stored(yard.serving)

    for wrong in (of_other, str(uuid4())):
        for changes in ({"new_at": ago(0.1)}, {"data": {"note": "x"}}):
            fault = check_problem(correct(yard, one, wrong, **changes), 422)
            assert fault == {} or fault["field"] in {"event", "data.note"}
        check_problem(yard.send(one, event("corrected", event=wrong)), 422, "event")

    assert stored(yard.serving) == before


def test_a_correction_is_not_corrected_but_made_again(yard):
    tag = yard.receive()["tag"]
    dipped = yard.record(tag, "dipped", c=12.0)["event"]["id"]
    first = yard.record(tag, "corrected", event=dipped)["event"]["id"]

    check_problem(yard.send(tag, event("corrected", event=first)), 422, "event")
    check_problem(correct(yard, tag, first, data={"void": False}), 422, "event")


# Who may


@pytest.fixture
def crew(yard):
    """Give somebody of the crew, signed in."""
    account = build.account(role="crew")
    assert yard.client.post(f"{API}/accounts", json=account).status_code == 201
    with yard.serving.signed_in(account["name"], account["password"]) as client:
        yield client


def age(yard, event_id, minutes):
    """Let an event have been recorded some time ago."""
    moment = datetime.now(UTC) - timedelta(minutes=minutes)  # noqa: TID251 - a real service
    with transaction(yard.serving.engine) as tx:
        tx.session.exec(update(Event).where(col(Event.id) == event_id).values(recorded_at=moment))


def test_the_crew_corrects_its_own_within_ten_minutes_and_a_manager_always(yard, crew):
    tag = yard.receive()["tag"]
    answer = yard.send(tag, event("dipped", c=12.0), client=crew)
    own = answer.json()["event"]
    assert own["by"] == "Somebody"

    assert correct(yard, tag, own["id"], client=crew, data={"c": 15.0}).status_code == 201
    age(yard, UUID(own["id"]), 9.8)
    assert correct(yard, tag, own["id"], client=crew, data={"c": 16.0}).status_code == 201

    age(yard, UUID(own["id"]), 10.1)
    before = stored(yard.serving)
    refused = correct(yard, tag, own["id"], client=crew, data={"c": 17.0})
    check_problem(refused, 403)
    assert "crew" in refused.json()["title"]
    assert stored(yard.serving) == before

    assert correct(yard, tag, own["id"], data={"c": 17.0}).status_code == 201


@pytest.mark.parametrize("role", [Role.CREW, Role.DISPATCHER])
def test_nobody_but_a_manager_corrects_what_others_recorded(yard, role):
    tag = yard.receive()["tag"]
    dipped = yard.record(tag, "dipped", c=12.0)["event"]["id"]
    before = stored(yard.serving)

    with yard.serving.client(role) as client:
        check_problem(correct(yard, tag, dipped, client=client, data={"c": 15.0}), 403)
        check_problem(yard.send(tag, event("corrected", event=dipped), client=client), 403)

    assert stored(yard.serving) == before
