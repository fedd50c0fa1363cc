"""Counting a place over HTTP: what differs is told, and mended only where a person says so."""

from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest

from drumkeep.domain import tags
from drumkeep.domain.roles import Role
from tests.builders.stock import Body
from tests.fixtures.answers import check_problem
from tests.fixtures.html import Form
from tests.fixtures.people import Person, signed_in
from tests.fixtures.plots import own_place
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import Yard, yard

__all__ = ["manager", "serving", "yard"]

API = "/api/v1"


@pytest.fixture(scope="module")
def rosa(serving) -> Iterator[Person]:
    """Give somebody of the crew."""
    with signed_in(serving, "crew", display_name="Rosa") as person:
        yield person


def begin(yard: Yard, place: str) -> Body:
    answer = yard.client.post(f"{API}/counts", json={"id": str(uuid4()), "place": place})
    assert answer.status_code == 201, answer.text
    found: Body = answer.json()
    return found


def post(yard: Yard, count: Body, deed: str, **body: Any) -> Body:
    answer = yard.client.post(f"{API}/counts/{count['id']}/{deed}", json=body or None)
    assert answer.is_success, answer.text
    found: Body = answer.json()
    return found


def kinds(count: Body) -> dict[str, str]:
    return {one["tag"]: one["kind"] for one in count["differences"]}


def tag_of_nobody(yard: Yard) -> str:
    """Return a good tag that no drum bears."""
    body = "ZZZZZ"
    tag = tags.parse(body + tags.check_symbol(body))
    assert yard.client.get(f"{API}/drums/{tag}").status_code == 404
    return tag


def test_every_way_to_differ_is_told_and_nothing_changes_by_counting(yard):
    here = own_place(yard, site=yard.site)
    other = own_place(yard, site=yard.site)
    right, missed = (yard.receive(place=here)["tag"] for _ in range(2))
    moved = yard.receive(place=other)["tag"]
    thrown = yard.receive(place=here)["tag"]
    yard.record(thrown, "emptied")
    nobody = tag_of_nobody(yard)

    count = begin(yard, here)
    assert kinds(count) == {right: "not_seen", missed: "not_seen"}
    for tag in (right, moved, thrown, nobody.lower()):
        post(yard, count, "seen", tag=tag)
    found = post(yard, count, "finish")

    expected = {missed: "not_seen", moved: "elsewhere", thrown: "gone", nobody: "unknown_tag"}
    assert kinds(found) == expected
    assert {one["tag"]: one["recorded"] for one in found["differences"]}[moved] == other
    assert [one["tag"] for one in found["seen"]] == [right, moved, thrown, nobody]
    assert [yard.get(tag)["place"] for tag in (missed, moved)] == [here, other]
    assert yard.get(missed)["readiness"]["state"] != "on_hold"


def test_each_difference_is_mended_by_one_event_and_twice_is_once(yard):
    here = own_place(yard, site=yard.site)
    missed = yard.receive(place=here)["tag"]
    moved = yard.receive(place=yard.place("hall"))["tag"]
    count = begin(yard, here)
    post(yard, count, "seen", tag=moved)
    post(yard, count, "finish")
    body = {"id": str(uuid4()), "tag": moved, "mend": "move_here"}
    for _ in range(2):
        done = post(yard, count, "mends", **body)
    post(yard, count, "mends", id=str(uuid4()), tag=missed, mend="hold_missing")

    assert (done["mend"], done["event"]) == ("move_here", body["id"])
    assert yard.get(moved)["place"] == here
    assert [e["kind"] for e in yard.history(moved)["events"]] == ["received", "moved"]
    assert yard.get(missed)["readiness"]["state"] == "on_hold"
    held = [e for e in yard.history(missed)["events"] if e["kind"] == "held"]
    assert [e["data"]["reason"] for e in held] == ["not found in count"]
    assert held[0]["note"] == f"count {count['id']}"

    other = {"id": str(uuid4()), "tag": moved, "mend": "leave"}
    check_problem(yard.client.post(f"{API}/counts/{count['id']}/mends", json=other), 409, "mend")


def test_what_a_missing_drum_was_held_for_before_stands_on(yard):
    here = own_place(yard, site=yard.site)
    missed = yard.receive(place=here)["tag"]
    yard.record(missed, "held", reason="solids seen")
    count = begin(yard, here)
    post(yard, count, "finish")
    post(yard, count, "mends", id=str(uuid4()), tag=missed, mend="hold_missing")

    held = [e for e in yard.history(missed)["events"] if e["kind"] == "held"]
    assert held[-1]["data"]["reason"] == "not found in count; before: solids seen"


def test_a_drum_that_turned_up_since_is_not_marked_as_missing(yard):
    here = own_place(yard, site=yard.site)
    missed = yard.receive(place=here)["tag"]
    count = begin(yard, here)
    post(yard, count, "finish")
    yard.record(missed, "moved", to=yard.place("van"))

    body = {"id": str(uuid4()), "tag": missed, "mend": "hold_missing"}
    answer = yard.client.post(f"{API}/counts/{count['id']}/mends", json=body)

    check_problem(answer, 409, "tag")
    assert yard.get(missed)["readiness"]["state"] != "on_hold"


def test_what_was_seen_in_a_place_that_is_full_on_record_is_recorded_all_the_same(yard):
    here = own_place(yard, site=yard.site, capacity=1)
    yard.receive(place=here)
    moved = yard.receive(place=yard.place("hall"))["tag"]
    count = begin(yard, here)
    post(yard, count, "seen", tag=moved)
    post(yard, count, "finish")

    post(yard, count, "mends", id=str(uuid4()), tag=moved, mend="move_here")

    assert yard.get(moved)["place"] == here


def test_a_count_is_gone_on_with_and_what_was_scanned_by_mistake_taken_back(yard):
    here = own_place(yard, site=yard.site)
    tag = yard.receive(place=here)["tag"]
    first = begin(yard, here)
    post(yard, first, "seen", tag=tag)
    again = begin(yard, here)
    assert (again["id"], [one["tag"] for one in again["seen"]]) == (first["id"], [tag])

    assert yard.client.delete(f"{API}/counts/{first['id']}/seen/{tag}").status_code == 204
    assert kinds(post(yard, first, "finish")) == {tag: "not_seen"}
    assert kinds(post(yard, first, "finish")) == {tag: "not_seen"}  # again is no harm

    answer = yard.client.post(f"{API}/counts/{first['id']}/seen", json={"tag": tag})
    check_problem(answer, 409, "id")
    assert begin(yard, here)["id"] != first["id"]


def test_what_makes_no_sense_is_told_with_its_field(yard):
    count = begin(yard, own_place(yard, site=yard.site))
    client, base = yard.client, f"{API}/counts"
    check_problem(client.post(base, json={"id": str(uuid4()), "place": "x/y"}), 422, "place")
    check_problem(client.post(f"{base}/{count['id']}/seen", json={"tag": "K7Q-X4X"}), 422, "tag")
    check_problem(client.get(f"{base}/0"), 404, "id")
    mend = {"id": str(uuid4()), "tag": tag_of_nobody(yard), "mend": "leave"}
    check_problem(client.post(f"{base}/{count['id']}/mends", json=mend), 404, "tag")
    mend |= {"mend": "burn"}
    check_problem(client.post(f"{base}/{count['id']}/mends", json=mend), 422, "mend")


def test_a_viewer_counts_nothing(serving, yard):
    with serving.client(Role.VIEWER) as viewer:
        body = {"id": str(uuid4()), "place": yard.place("hall")}
        assert viewer.post(f"{API}/counts", json=body).status_code == 403
        assert viewer.get(f"{API}/counts").status_code == 200


def scan(person: Person, path: str, text: str) -> str:
    """Scan on a count's page; return where it leads."""
    form = person.get(path).form(f"{path}/seen")
    form = Form(form.action, form.method, {"csrf": form.fields["csrf"], "scan": text})
    answer = person.send(form)
    assert answer.status_code == 303, answer.text
    return answer.headers["Location"]


def test_the_crew_counts_by_scanning_codes_and_mends_with_one_tap(yard, rosa):
    here = own_place(yard, site=yard.site, name="Lean-to")
    missed = yard.receive(place=here)["tag"]
    moved = yard.receive(place=yard.place("hall"))["tag"]
    start = rosa.fill("/stock/counts", "/stock/counts", place=here)
    path = rosa.send(start).headers["Location"]
    assert rosa.send(start).headers["Location"] == path  # pressed twice it is one count

    after = scan(rosa, path, f"https://drums.example/d/{moved}")
    page = rosa.get(after)
    assert f"{moved} lot" in page.words
    assert "1 drum on record here, not seen yet" in page.words
    assert not [form for form in page.forms if form.action.endswith("/mend")]

    assert rosa.send(page.form(f"{path}/finish")).status_code == 303
    page = rosa.get(path)
    assert "Seen here, on record in Hall." in page.words
    first = next(f for f in page.forms if f.fields.get("tag") == moved)
    assert rosa.send(Form(first.action, "post", first.fields | {"mend": "move_here"})).is_redirect
    assert yard.get(moved)["place"] == here
    words = rosa.get(path).words
    assert "Recorded as moved here by Rosa" in words
    assert f"{missed} lot" in words
    assert "2, 1 not mended" in rosa.get("/stock/counts").words
