"""Alarms over HTTP: listed by state and in pages, acknowledged and shelved by role."""

import pytest

from drumkeep.domain.roles import Role
from tests.builders.stock import ago
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.serving import serving
from tests.fixtures.yard import API, make_yard, yard

__all__ = ["serving", "yard"]
pytestmark = pytest.mark.both_stores

ALARMS = f"{API}/alarms"
KINDS = {
    "cold_load": {Role.DISPATCHER, Role.MANAGER},
    "seeding": {Role.MANAGER},
    "blanket_missing": {Role.CREW, Role.DISPATCHER, Role.MANAGER},
}
"""Alarms that :func:`raised` raises, and who may acknowledge each (design.md §5)."""


@pytest.fixture(scope="module")
def raised(yard):
    """Raise an alarm for each audience; give the open alarms by kind. No test may change them."""
    return raise_each(yard)


@pytest.fixture
def own(serving, yard):
    """Give a yard of the test's own, with an alarm for each audience."""
    made = make_yard(serving, yard.client)
    return made, raise_each(made)


def raise_each(yard):
    for place in ("van", "hall"):
        yard.receive(place=yard.place(place), liquid_c=8.0, at=ago(2.0))
    opened = yard.receive(place=yard.place("room"), liquid_c=27.0, at=ago(2.0))["tag"]
    yard.record(opened, "opened", at=ago(1.5))
    yard.advance()
    found = {
        alarm["kind"]: alarm
        for alarm in listed(yard, state="open")
        if alarm["cause"].startswith(f"{yard.site}/")
    }
    assert set(found) == set(KINDS)
    return found


def listed(yard, **query):
    answer = yard.client.get(ALARMS, params={"limit": 200} | query)
    assert answer.status_code == 200, answer.text
    return answer.json()["items"]


def get(yard, alarm):
    return yard.client.get(f"{ALARMS}/{alarm['id']}").json()


def post(yard, alarm, action, body=None, *, client=None):
    return (client or yard.client).post(f"{ALARMS}/{alarm['id']}/{action}", json=body)


def test_an_alarm_tells_cause_drums_and_history(yard, raised):
    alarm = get(yard, raised["cold_load"])

    assert alarm in listed(yard, state="open")
    assert (alarm["cause"], alarm["state"]) == (yard.place("van"), "unacknowledged")
    assert (alarm["priority"], alarm["audience"]) == ("high", ["dispatcher"])
    assert alarm["phase"] in {"now", "done"}
    there = yard.client.get(f"{API}/drums", params={"place": yard.place("van")}).json()["items"]
    assert [drum["tag"] for drum in there] == alarm["drums"]
    assert "Van" in alarm["message"]
    assert "10.0 °C" in alarm["message"]  # 50 °F, told in SI
    assert [entry["state"] for entry in alarm["history"]] == ["unacknowledged"]
    assert alarm["history"][0]["at"] == alarm["raised_at"]


def test_alarms_are_listed_by_state(yard, raised):
    open_ones = {alarm["id"] for alarm in listed(yard, state="open")}

    assert {alarm["id"] for alarm in raised.values()} <= open_ones
    for state in ("unacknowledged", "acknowledged", "normal", "shelved"):
        assert {alarm["state"] for alarm in listed(yard, state=state)} <= {state}
    assert {alarm["id"] for alarm in listed(yard)} >= open_ones


@pytest.mark.usefixtures("raised")
@pytest.mark.parametrize("state", ["open", "unacknowledged", None])
def test_a_list_comes_in_pages_that_miss_and_repeat_nothing(yard, state):
    query = {} if state is None else {"state": state}
    everything = [alarm["id"] for alarm in listed(yard, **query)]
    assert len(everything) >= len(KINDS)

    seen: list[str] = []
    after: dict[str, str] = {}
    for _ in range(len(everything)):
        page = yard.client.get(ALARMS, params=query | {"limit": 1} | after).json()
        seen += [alarm["id"] for alarm in page["items"]]
        after = {"cursor": page["next_cursor"]}

    assert seen == everything
    assert page["next_cursor"] is None


@pytest.mark.parametrize("role", Role)
def test_only_those_an_alarm_is_for_and_managers_acknowledge_it(own, role):
    yard, alarms = own
    for kind, may in KINDS.items():
        before = stored(yard.serving)
        with yard.serving.client(role) as client:
            answer = post(yard, alarms[kind], "acknowledge", client=client)

        if role in may:
            assert answer.status_code == 200, answer.text
            found = answer.json()
            assert found["state"] == "acknowledged"
            assert found["acknowledged_at"] is not None
            assert found["acknowledged_by"] == found["history"][-1]["by"] == f"test {role}"
            assert found == get(yard, found)
        else:
            check_problem(answer, 403)
            assert role in answer.json()["title"]
            assert stored(yard.serving) == before


def test_acknowledged_again_an_alarm_stays_as_it_is(own):
    yard, alarms = own
    first = post(yard, alarms["seeding"], "acknowledge").json()
    before = stored(yard.serving)

    assert post(yard, alarms["seeding"], "acknowledge").json() == first
    assert stored(yard.serving) == before


def test_a_manager_shelves_an_alarm_for_a_while(own):
    yard, alarms = own
    body = {"minutes": 30.0, "reason": "it is being warmed"}
    for role in (Role.VIEWER, Role.CREW, Role.DISPATCHER):
        with yard.serving.client(role) as client:
            check_problem(post(yard, alarms["seeding"], "shelve", body, client=client), 403)

    found = post(yard, alarms["seeding"], "shelve", body).json()

    assert found["state"] == "shelved"
    assert ago(-0.4) < found["shelved_until"] < ago(-0.6)
    assert "it is being warmed" in found["history"][-1]["words"]
    assert found["id"] in {alarm["id"] for alarm in listed(yard, state="shelved")}
    yard.advance()
    assert get(yard, found)["state"] == "shelved"


def test_an_alarm_that_is_over_is_neither_shelved_nor_acknowledged_again(own):
    yard, alarms = own
    post(yard, alarms["seeding"], "acknowledge")
    yard.record(alarms["seeding"]["drums"][0], "disposed")
    yard.advance()
    over = get(yard, alarms["seeding"])
    assert (over["state"], over["id"] in {a["id"] for a in listed(yard, state="open")}) == (
        "normal",
        False,
    )

    answer = post(yard, over, "shelve", {"minutes": 5, "reason": "x"})

    assert "returned to normal" in check_problem(answer, 409, "id")["problem"]
    assert post(yard, over, "acknowledge").json() == over


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
