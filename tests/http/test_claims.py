"""Claims on suppliers over HTTP: who may make them, what they hold, and that they stay as made."""

from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import httpx
import pytest

from drumkeep.domain.claims import checksum
from drumkeep.domain.roles import Role
from tests.builders.photos import photo
from tests.builders.stock import Body, ago
from tests.fixtures.answers import check_problem
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import LOT, Yard, yard

__all__ = ["manager", "serving", "yard"]

CLAIMS = "/api/v1/claims"


@pytest.fixture(scope="module")
def mara(serving) -> Iterator[Person]:
    with signed_in(serving, "manager", display_name="Mara") as person:
        yield person


def solids(yard: Yard, **changes: Any) -> str:
    """Receive a drum in which solids are seen when it comes."""
    tag: str = yard.receive(at=ago(20.0), **changes)["tag"]
    yard.record(tag, "inspected", at=ago(19.5), solids="seen", reached_bottom=True)
    return tag


def claim(client: httpx.Client, *tags: str, **changes: Any) -> httpx.Response:
    return client.post(CLAIMS, json={"id": str(uuid4()), "drums": list(tags)} | changes)


def made(yard: Yard, *tags: str) -> Body:
    answer = claim(yard.client, *tags)
    assert answer.status_code == 201, answer.text
    found: Body = answer.json()
    return found


def test_a_claim_holds_label_receipt_findings_events_photos_and_temperatures(yard, mara):
    label = "(01)09506000134352(10)L-1(21)00071"
    (drum,) = yard.client.post(
        "/api/v1/deliveries",
        json={
            "id": str(uuid4()),
            "product": yard.iso,
            "lot": LOT,
            "place": yard.place("hall"),
            "at": ago(20.0),
            "liquid_c": 17.5,
            "looks": {"solids": "seen"},
            "label": label,
        },
    ).json()
    tag = drum["tag"]
    yard.client.post(
        "/api/v1/photos",
        params={"drum": tag, "shows": "solids"},
        content=photo(),
        headers={"Content-Type": "image/jpeg"},
    )
    yard.advance()
    told = made(yard, tag)
    record = told["record"]
    assert told["checksum"] == checksum(record)
    assert (told["state"], record["lot"]["code"], record["made_by"]) == (
        "open",
        LOT,
        "test manager",
    )
    (entry,) = record["drums"]
    assert (entry["tag"], entry["label"]["text"], entry["label"]["serial"]) == (tag, label, "00071")
    (found,) = entry["findings"]
    assert (found["what"], found["when"]) == (["solids"], "arrival")
    assert [e["kind"] for e in entry["events"]] == ["received", "inspected", "held"]
    assert entry["events"][0]["data"]["liquid_c"] == 17.5
    temperature = entry["temperature"]
    # The hall is at 18 °C and the drum came at 17.5: it stays between the two.
    assert 17.0 < temperature["bottom_min_c"] <= temperature["bottom_max_c"] < 18.5
    assert temperature["hours"] == pytest.approx(20.0, abs=0.2)
    assert temperature["under"] == {"limit_c": 10.0, "likely_h": 0.0, "possible_h": 0.0}
    assert len(temperature["points"]) >= 39
    assert [p["sha256"] for p in record["photos"]] == [
        yard.client.get(f"/api/v1/photos/{told['photos'][0]}").json()["sha256"]
    ]
    assert record["sensors"][0]["name"] == yard.sensors["hall"]
    page = mara.get(f"/claims/{told['number']}")
    assert [f["id"] for f in page.all("figure") if f.get("class") == "plot"] == [f"plot-{tag}"]


def test_what_is_recorded_later_does_not_change_the_record(yard):
    tag = solids(yard)
    before = made(yard, tag)
    yard.record(tag, "dipped", c=25.0)
    yard.client.post(
        "/api/v1/photos",
        params={"claim": before["number"], "shows": "label"},
        content=photo(size=(80, 60)),
        headers={"Content-Type": "image/jpeg"},
    )
    after = yard.client.get(f"{CLAIMS}/{before['number']}").json()
    assert after["record"] == before["record"]
    assert after["checksum"] == checksum(after["record"])
    assert len(after["photos"]) == 1
    history = yard.client.get(f"{CLAIMS}/{before['number']}/temperatures")
    lines = history.text.removeprefix("\N{BYTE ORDER MARK}").splitlines()
    assert lines[0] == "drum,at,air_c,bottom_c,mean_c,top_c,low_c,high_c,known"
    assert len(lines) == 1 + len(after["record"]["drums"][0]["temperature"]["points"])
    assert all(line.startswith(f"{tag},") for line in lines[1:])


def test_the_same_claim_again_is_one_claim_and_a_drum_is_in_one_only(yard):
    tag, key = solids(yard), str(uuid4())
    first, again = (claim(yard.client, tag, id=key).json()["number"] for _ in range(2))
    assert first == again
    fault = check_problem(claim(yard.client, tag), 409, "drums")
    assert fault["problem"] == f"is in claim {first} already"


def test_what_a_supplier_does_not_answer_for_cannot_be_claimed(yard):
    clean = yard.receive()["tag"]
    other = yard.receive(product=yard.resin)["tag"]
    late = yard.receive(at=ago(60.0))["tag"]
    yard.record(late, "opened", at=ago(50.0))
    yard.record(late, "resealed", at=ago(49.0))
    yard.record(late, "inspected", at=ago(1.0), solids="seen")
    for tags, status in [((clean,), 409), ((late,), 409), ((), 422), ((clean, other), 422)]:
        assert claim(yard.client, *tags).status_code == status, tags
    assert claim(yard.client, "2222222").status_code == 422


def test_everybody_reads_who_records_makes_and_only_a_manager_settles(serving, yard):
    tag = solids(yard)
    note = {"id": str(uuid4()), "text": "called them"}
    with serving.client(Role.VIEWER) as viewer, serving.client(Role.CREW) as crew:
        assert claim(viewer, tag).status_code == 403
        answer = claim(crew, tag)
        assert answer.status_code == 201
        number = answer.json()["number"]
        assert viewer.get(f"{CLAIMS}/{number}").status_code == 200
        assert viewer.post(f"{CLAIMS}/{number}/notes", json=note).status_code == 403
        assert crew.post(f"{CLAIMS}/{number}/notes", json=note).status_code == 201
        settle = {"id": str(uuid4()), "state": "settled"}
        assert crew.post(f"{CLAIMS}/{number}/notes", json=settle).status_code == 403
    sent = {"id": str(uuid4()), "state": "sent", "text": "by mail"}
    for _ in range(2):  # a phone that tries again
        assert yard.client.post(f"{CLAIMS}/{number}/notes", json=sent).status_code == 201
    told = yard.client.get(f"{CLAIMS}/{number}").json()
    assert told["state"] == "sent"
    assert [n["text"] for n in told["notes"]] == ["called them", "by mail"]
    assert (
        yard.client.post(f"{CLAIMS}/{number}/notes", json={"id": str(uuid4())}).status_code == 422
    )
    (line,) = [c for c in yard.client.get(CLAIMS).json()["items"] if c["number"] == number]
    assert (line["drums"], line["state"]) == (1, "sent")


def test_of_a_clean_drum_no_claim_is_offered(yard, mara):
    page = mara.get(f"/drums/{yard.receive()['tag']}")
    assert not [form for form in page.forms if form.action == "/claims"]


def test_claims_that_are_not_there_are_not_found(yard, mara):
    assert yard.client.get(f"{CLAIMS}/9999").status_code == 404
    mara.get("/claims/9999", status=404)
