"""Alarms over HTTP: listed by state and in pages, acknowledged and shelved by role."""

import pytest

from drumkeep.domain.roles import Role
from tests.builders.stock import ago
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.serving import serving
from tests.fixtures.yard import API, yard

__all__ = ["serving", "yard"]

ALARMS = f"{API}/alarms"
KINDS = {
    "cold_load": {Role.DISPATCHER, Role.MANAGER},
    "seeding": {Role.MANAGER},
    "blanket_missing": {Role.CREW, Role.DISPATCHER, Role.MANAGER},
}
"""Alarms that :func:`raised` raises, and who may acknowledge each (design.md §5)."""


@pytest.fixture(scope="module")
def raised(yard):
    """Raise an alarm for each audience; give the open alarms by kind."""
    for place in ("van", "hall"):
        yard.receive(place=yard.place(place), liquid_c=8.0, at=ago(2.0))
    opened = yard.receive(place=yard.place("room"), liquid_c=27.0, at=ago(2.0))["tag"]
    yard.record(opened, "opened", at=ago(1.5))
    yard.advance()
    found = {alarm["kind"]: alarm for alarm in listed(yard, state="open")}
    assert set(KINDS) <= set(found)
    return found


def listed(yard, **query):
    answer = yard.client.get(ALARMS, params={"limit": 200} | query)
    assert answer.status_code == 200, answer.text
    return answer.json()["items"]


def post(yard, alarm, action, body=None, *, client=None):
    return (client or yard.client).post(f"{ALARMS}/{alarm['id']}/{action}", json=body)


def test_an_alarm_tells_cause_drums_and_history(yard, raised):
    alarm = raised["cold_load"]

    assert yard.client.get(f"{ALARMS}/{alarm['id']}").json() == alarm
    assert (alarm["cause"], alarm["state"]) == (yard.place("van"), "unacknowledged")
    assert (alarm["priority"], alarm["audience"]) == ("high", ["dispatcher"])
    assert alarm["phase"] in {"now", "done"}
    assert [
        d["tag"]
        for d in yard.client.get(f"{API}/drums", params={"place": yard.place("van")}).json()[
            "items"
        ]
    ] == alarm["drums"]
    assert "Van" in alarm["message"]
    assert "°F" not in alarm["message"] or "°C" in alarm["message"]
    assert [entry["state"] for entry in alarm["history"]] == ["unacknowledged"]
    assert alarm["history"][0]["at"] == alarm["raised_at"]


def test_alarms_are_listed_by_state(yard, raised):
    open_ones = {alarm["id"] for alarm in listed(yard, state="open")}

    assert {alarm["id"] for alarm in raised.values()} <= open_ones
    for state in ("unacknowledged", "acknowledged", "normal", "shelved"):
        assert {alarm["state"] for alarm in listed(yard, state=state)} <= {state}
    assert {alarm["id"] for alarm in listed(yard)} >= open_ones


@pytest.mark.parametrize("state", ["open", "unacknowledged", None])
def test_a_list_comes_in_pages_that_miss_and_repeat_nothing(yard, raised, state):
    query = {} if state is None else {"state": state}
    everything = [alarm["id"] for alarm in listed(yard, **query)]
    assert len(everything) >= len(KINDS)

    seen, cursor = [], {}
    for _ in range(len(everything)):
        page = yard.client.get(ALARMS, params=query | {"limit": 1} | cursor).json()
        seen += [alarm["id"] for alarm in page["items"]]
        cursor = {"cursor": page["next_cursor"]}

    assert seen == everything
    assert page["next_cursor"] is None


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("role", Role)
def test_only_those_an_alarm_is_for_and_managers_acknowledge_it(yard, raised, role, kind):
    before = stored(yard.serving)
    with yard.serving.client(role) as client:
        answer = post(yard, raised[kind], "acknowledge", client=client)

    if role in KINDS[kind]:
        assert answer.status_code == 200, answer.text
        found = answer.json()
        assert found["state"] == "acknowledged"
        assert found["acknowledged_at"] is not None
        assert found["acknowledged_by"].startswith("test ")
        assert found["history"][-1]["by"] == found["acknowledged_by"]
    else:
        check_problem(answer, 403)
        assert role in answer.json()["title"]
        assert stored(yard.serving) == before


def test_acknowledged_again_an_alarm_stays_as_it_is(yard, raised):
    first = post(yard, raised["seeding"], "acknowledge").json()
    before = stored(yard.serving)

    assert post(yard, raised["seeding"], "acknowledge").json() == first
    assert stored(yard.serving) == before


def test_a_manager_shelves_an_alarm_for_a_while(yard, raised):
    tag = yard.receive(product=yard.resin, place=yard.place("dock"), liquid_c=35.0)["tag"]
    yard.advance()
    alarm = next(a for a in listed(yard, state="open") if tag in a["drums"])
    body = {"minutes": 30.0, "reason": "it is being cooled"}

    with yard.serving.client(Role.DISPATCHER) as dispatcher:
        check_problem(post(yard, alarm, "shelve", body, client=dispatcher), 403)
    found = post(yard, alarm, "shelve", body).json()

    assert found["state"] == "shelved"
    assert ago(-0.4) < found["shelved_until"] < ago(-0.6)
    assert "it is being cooled" in found["history"][-1]["words"]
    assert alarm["id"] in {a["id"] for a in listed(yard, state="shelved")}


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "minutes"),
        ({"minutes": 30.0}, "reason"),
        ({"minutes": 0, "reason": "x"}, "minutes"),
        ({"minutes": -5.0, "reason": "x"}, "minutes"),
        ({"minutes": 1441, "reason": "x"}, "minutes"),
        ({"minutes": "30", "reason": "x"}, "minutes"),
        ({"minutes": 10**400, "reason": "x"}, "minutes"),
        ({"minutes": 30, "reason": ""}, "reason"),
        ({"minutes": 30, "reason": "x" * 501}, "reason"),
        ({"minutes": 30, "reason": "a\x00b"}, "reason"),
        ({"minutes": 30, "reason": "x", "hours": 1}, "hours"),
        ([], ""),
        (None, ""),
    ],
)
def test_what_is_no_shelving_is_refused(yard, raised, body, field):
    before = stored(yard.serving)

    check_problem(post(yard, raised["seeding"], "shelve", body), 422, field)

    assert stored(yard.serving) == before


def test_an_alarm_that_is_over_is_not_shelved(yard):
    place = yard.place("dock")
    tag = yard.receive(product=yard.resin, place=place, liquid_c=35.0, at=ago(3.0))["tag"]
    yard.advance()
    alarm = next(a for a in listed(yard, state="open") if tag in a["drums"])
    post(yard, alarm, "acknowledge")
    for other in alarm["drums"]:
        yard.record(other, "disposed")
    yard.advance()
    assert yard.client.get(f"{ALARMS}/{alarm['id']}").json()["state"] in {"normal", "shelved"}

    if yard.client.get(f"{ALARMS}/{alarm['id']}").json()["state"] == "normal":
        answer = post(yard, alarm, "shelve", {"minutes": 5, "reason": "x"})
        assert "returned to normal" in check_problem(answer, 409, "id")["problem"]


@pytest.mark.parametrize(
    ("address", "status", "field"),
    [
        ("/" + "0" * 32, 404, "id"),
        ("/nothing", 404, "id"),
        ("/a%00b", 422, "path"),
        ("?state=loud", 422, "state"),
        ("?limit=0", 422, "limit"),
        ("?limit=201", 422, "limit"),
        ("?cursor=nothing", 422, "cursor"),
        ("?cursor=", 422, "cursor"),
        ("?state=open&cursor=x", 422, "cursor"),
        ("?kind=seeding", 422, "kind"),
    ],
)
def test_what_cannot_be_asked_for_is_refused(yard, address, status, field):
    check_problem(yard.client.get(f"{ALARMS}{address}"), status, field)


@pytest.mark.parametrize("action", ["acknowledge", "shelve"])
def test_an_alarm_that_is_none_is_neither_acknowledged_nor_shelved(yard, action):
    body = {"minutes": 5, "reason": "x"}

    check_problem(yard.client.post(f"{ALARMS}/nothing/{action}", json=body), 404, "id")
