"""What was recorded by mistake is taken back for ten minutes; the log keeps both."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import httpx
import pytest
from sqlmodel import col, update

from drumkeep.domain.events import EventKind
from drumkeep.operations.undo import NEVER
from drumkeep.storage.tables.drums import Event
from drumkeep.storage.transaction import transaction
from tests.builders.stock import ago
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import serving
from tests.fixtures.yard import Yard, yard

__all__ = ["serving", "yard"]

FORMS = {
    "moved": {},
    "dipped": {"temperature": "59", "height": "4"},
    "weighed": {"mass": "400", "weighed_as": "net"},
    "opened": {},
    "agitated": {"minutes": "15"},
    "held": {"reason": "dented"},
    "inspected": {"bulge": "seen"},
    "emptied": {},
}


@pytest.fixture(scope="module")
def crew(serving) -> Iterator[Person]:
    with signed_in(serving, "crew") as person:
        yield person


@pytest.fixture(scope="module")
def boss(serving) -> Iterator[Person]:
    with signed_in(serving, "manager") as person:
        yield person


def undo(person: Person, tag: str, event: str) -> httpx.Response:
    return person.client.post(f"/drums/{tag}/undo", data={"csrf": person.csrf(), "event": event})


def buttons(person: Person, tag: str) -> list[str]:
    page = person.get(f"/drums/{tag}")
    return [form.fields["event"] for form in page.forms if form.action.endswith("/undo")]


def newest(yard: Yard, tag: str) -> str:
    log = reversed(yard.history(tag)["events"])
    found: str = next(event["id"] for event in log if event["kind"] != "corrected")
    return found


@pytest.mark.parametrize("kind", FORMS)
def test_an_event_is_undone_and_the_drum_is_as_if_it_had_not_been(yard, crew, kind):
    tag = yard.receive()["tag"]
    before = yard.get(tag)
    fields = FORMS[kind] | ({"to": yard.place("van")} if kind == "moved" else {})
    assert crew.record(tag, kind, **fields).status_code == 303
    event = newest(yard, tag)
    assert buttons(crew, tag) == [event]

    assert undo(crew, tag, event).status_code == 303

    now = yard.get(tag)
    for name in ("place", "net_kg", "ended", "conditions"):
        assert now[name] == before[name], name
    assert now["readiness"]["state"] == before["readiness"]["state"]
    assert now["estimate"]["bottom_c"] == pytest.approx(before["estimate"]["bottom_c"], abs=0.05)
    log = yard.history(tag)["events"]
    assert [one["kind"] for one in log] == ["received", kind, "corrected"]
    page = crew.get(f"/drums/{tag}")
    assert "Taken back" in page.words
    assert page.all("s")
    assert buttons(crew, tag) == []


def test_undo_pressed_twice_is_done_once(yard, crew):
    tag = yard.receive()["tag"]
    crew.record(tag, "held", reason="x")
    event = newest(yard, tag)
    assert undo(crew, tag, event).status_code == undo(crew, tag, event).status_code == 303
    assert len(yard.history(tag)["events"]) == 3


def test_what_others_recorded_is_undone_by_a_manager_and_by_nobody_else(yard, crew, boss):
    tag = yard.receive()["tag"]
    boss.record(tag, "held", reason="x")
    event = newest(yard, tag)
    assert buttons(crew, tag) == []
    answer = undo(crew, tag, event)
    assert answer.status_code == 403
    assert "crew" in Page(answer.text).words
    assert event in buttons(boss, tag)

    crew.record(tag, "opened")
    mine = newest(yard, tag)
    assert undo(boss, tag, mine).status_code == 303


def test_after_ten_minutes_it_is_refused_with_what_to_do(serving, yard, crew, boss):
    tag = yard.receive()["tag"]
    crew.record(tag, "held", reason="x")
    event = newest(yard, tag)
    long_ago = datetime.now(UTC) - timedelta(minutes=11)  # noqa: TID251 - the service reads the clock
    with transaction(serving.engine) as tx:
        tx.session.exec(
            update(Event).where(col(Event.id) == UUID(event)).values(recorded_at=long_ago)
        )
    for person in (crew, boss):
        assert buttons(person, tag) == []
        answer = undo(person, tag, event)
        assert answer.status_code == 409
        assert "more than 10 minutes ago" in Page(answer.text).words
        assert "Record what is so now" in Page(answer.text).words
    assert yard.get(tag)["readiness"]["state"] == "on_hold"


def test_a_receipt_and_what_is_no_event_of_the_drum_are_not_undone(yard, boss):
    tag, other = (yard.receive()["tag"] for _ in range(2))
    yard.record(other, "held", reason="x")
    for event in (newest(yard, tag), newest(yard, other), str(uuid4())):
        assert undo(boss, tag, event).status_code == 422
    assert {EventKind.RECEIVED, EventKind.CORRECTED} == NEVER


def test_what_came_after_and_needs_it_keeps_it(yard, crew):
    tag = yard.receive(at=ago(2.0))["tag"]
    crew.record(tag, "moved", to=yard.place("van"))
    first = newest(yard, tag)
    crew.record(tag, "moved", to=yard.place("hall"))
    answer = undo(crew, tag, first)  # it would go from the hall to the hall
    assert answer.status_code == 409
    assert undo(crew, tag, newest(yard, tag)).status_code == 303
    assert undo(crew, tag, first).status_code == 303
    assert yard.get(tag)["place"] == yard.place("hall")


def test_a_pour_is_taken_back_in_both_drums(yard, crew):
    tag, other = (yard.receive(net_kg=100.0)["tag"] for _ in range(2))
    assert (
        crew.record(
            tag, "topped", mass="22", **{"from": f"https://x.example/d/{other}"}
        ).status_code
        == 303
    )
    assert yard.get(other)["net_kg"] == pytest.approx(90.02, abs=0.05)
    assert undo(crew, tag, newest(yard, tag)).status_code == 303
    assert (yard.get(tag)["net_kg"], yard.get(other)["net_kg"]) == (100.0, 100.0)
