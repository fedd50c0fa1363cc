"""Consumables and the weekly checks of rigs over HTTP."""

from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest

from drumkeep.domain.roles import Role
from tests.builders.catalogue import fresh
from tests.builders.stock import Body, ago
from tests.fixtures.answers import check_problem
from tests.fixtures.people import Person, signed_in
from tests.fixtures.plots import own_place
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import Yard, yard

__all__ = ["manager", "serving", "yard"]

API = "/api/v1"
PSI_KPA = 6.894757293168361
"""NIST SP 811, table in appendix B.8 (6.894757 to its seven digits)."""


@pytest.fixture(scope="module")
def rosa(serving) -> Iterator[Person]:
    """Give somebody of the crew."""
    with signed_in(serving, "crew", display_name="Rosa") as person:
        yield person


def keep(yard: Yard, **changes: Any) -> Body:
    usual = {
        "place": yard.place("hall"),
        "kind": "nitrogen",
        "name": fresh("bottle"),
        "unit": "bottles",
        "minimum": 2.0,
    }
    answer = yard.client.post(f"{API}/consumables", json=usual | changes)
    assert answer.status_code == 201, answer.text
    found: Body = answer.json()
    return found


def enter(yard: Yard, kept: Body, deed: str, quantity: float, **changes: Any) -> Body:
    body = {"id": str(uuid4()), "deed": deed, "quantity": quantity} | changes
    answer = yard.client.post(f"{API}/consumables/{kept['id']}/entries", json=body)
    assert answer.status_code == 201, answer.text
    found: Body = answer.json()
    return found


def get(yard: Yard, kept: Body) -> Body:
    found: Body = yard.client.get(f"{API}/consumables/{kept['id']}").json()
    return found


def test_taking_adding_and_counting_leave_what_is_in_hand_and_every_entry_stays(yard):
    kept = keep(yard)
    assert (kept["in_hand"], kept["low"]) == (None, True)  # nobody counted yet
    enter(yard, kept, "counted", 3.0)
    taken = str(uuid4())
    for _ in range(2):  # sent twice it is taken once
        enter(yard, kept, "took", 2.0, id=taken, note="for the rig")
    assert (get(yard, kept)["in_hand"], get(yard, kept)["low"]) == (1.0, True)
    enter(yard, kept, "added", 4.0)
    assert (get(yard, kept)["in_hand"], get(yard, kept)["low"]) == (5.0, False)

    entries = yard.client.get(f"{API}/consumables/{kept['id']}/entries").json()["items"]
    assert [(e["deed"], e["in_hand"]) for e in entries] == [
        ("added", 5.0),
        ("took", 1.0),
        ("counted", 3.0),
    ]


def test_what_cannot_be_is_told_with_its_field_and_nothing_is_stored(yard):
    kept = keep(yard)
    enter(yard, kept, "counted", 1.0)
    base = f"{API}/consumables/{kept['id']}/entries"
    for changes, status, field in (
        ({"deed": "took", "quantity": 1.5}, 422, "quantity"),
        ({"deed": "stole"}, 422, "deed"),
        ({"at": ago(-2.0)}, 422, "at"),
        ({"at": ago(2.0)}, 409, "at"),
    ):
        body = {"id": str(uuid4()), "deed": "took", "quantity": 1.0} | changes
        check_problem(yard.client.post(base, json=body), status, field)
    assert get(yard, kept)["in_hand"] == 1.0
    again = {k: kept[k] for k in ("place", "kind", "name", "unit")}
    check_problem(yard.client.post(f"{API}/consumables", json=again), 409, "name")
    check_problem(
        yard.client.post(f"{API}/consumables", json=again | {"kind": "argon"}), 422, "kind"
    )


def test_what_is_dropped_is_off_the_list_and_taken_up_again_under_its_name(yard):
    kept = keep(yard)
    enter(yard, kept, "counted", 3.0)
    path = f"{API}/consumables/{kept['id']}"
    assert yard.client.patch(path, json={"dropped": True}).status_code == 200
    listed = yard.client.get(f"{API}/consumables").json()["items"]
    assert kept["id"] not in [one["id"] for one in listed]
    body = {"id": str(uuid4()), "deed": "took", "quantity": 1.0}
    check_problem(yard.client.post(f"{path}/entries", json=body), 409, "id")
    again = keep(yard, name=kept["name"], minimum=1.0)
    assert (again["id"], again["in_hand"], again["minimum"]) == (kept["id"], 3.0, 1.0)


def test_what_is_under_its_minimum_is_a_line_of_now(yard, rosa):
    kept = keep(yard, name=fresh("cartridge"), kind="desiccant", unit="pieces")
    form = rosa.get("/stock/consumables").form(f"/stock/consumables/{kept['id']}/entries")
    form.fields |= {"deed": "counted", "quantity": "1"}
    assert rosa.send(form).status_code == 303
    told = f"{kept['name']}, 1 in hand, minimum 2 pieces"
    assert told in rosa.get("/floor").words

    form = rosa.get("/stock/consumables").form(f"/stock/consumables/{kept['id']}/entries")
    form.fields |= {"deed": "added", "quantity": "3"}
    assert rosa.send(form).status_code == 303
    assert told not in rosa.get("/floor").words


def look(yard: Yard, rig: str, findings: dict[str, str], *, hours: float = 0.0) -> Body:
    checks = [
        {"part": part, "finding": finding}
        | ({"pressure_kpa": 13_000.0} if part == "nitrogen" else {})
        for part, finding in findings.items()
    ]
    body = {"id": str(uuid4()), "place": rig, "at": ago(hours), "checks": checks}
    answer = yard.client.post(f"{API}/rig-checks", json=body)
    assert answer.status_code == 201, answer.text
    return body


ALL = dict.fromkeys(("lubricant", "packing_nut", "desiccant", "nitrogen"), "fine")


def alarms_of(yard: Yard, rig: str) -> list[Body]:
    yard.advance()
    answer = yard.client.get(f"{API}/alarms").json()["items"]
    return [a for a in answer if (a["kind"], a["cause"]) == ("rig_check", rig)]


def test_a_rig_left_for_a_week_raises_one_alarm_that_a_look_ends(yard):
    rig = own_place(yard, site=yard.site, kind="rig", name="Truck 2")
    assert alarms_of(yard, rig) == []  # nobody has taken the practice up
    look(yard, rig, ALL, hours=24.0 * 7 + 1)
    look(yard, rig, {"lubricant": "changed"}, hours=24.0)

    (alarm,) = alarms_of(yard, rig)

    assert alarm["audience"] == ["crew", "manager"]
    assert "packing nut, desiccant, nitrogen bottle" in alarm["message"]
    assert "lubricant" not in alarm["message"]
    look(yard, rig, ALL)
    (alarm,) = alarms_of(yard, rig)
    assert alarm["state"] == "returned_unacknowledged"
    states = yard.client.get(f"{API}/rig-checks/due").json()["items"]
    (mine,) = [one for one in states if one["place"] == rig]
    assert [part["state"] for part in mine["parts"]] == ["done"] * 4


def test_a_round_sent_twice_is_one_and_what_cannot_be_is_told(yard):
    rig = own_place(yard, site=yard.site, kind="rig", name="Truck 3")
    body = look(yard, rig, ALL)
    assert yard.client.post(f"{API}/rig-checks", json=body).status_code == 201
    kept = yard.client.get(f"{API}/rig-checks", params={"place": rig}).json()["items"]
    assert len(kept) == 4

    new = body | {"id": str(uuid4())}
    for changes, field in (
        ({"place": yard.place("hall")}, "place"),
        ({"checks": []}, "checks"),
        ({"checks": [{"part": "engine", "finding": "fine"}]}, "checks.0.part"),
        ({"checks": [{"part": "desiccant", "finding": "see_note"}]}, "checks.0.note"),
        ({"checks": [{"part": "nitrogen", "finding": "fine"}]}, "checks.0.pressure_kpa"),
        ({"at": ago(-2.0)}, "at"),
    ):
        check_problem(yard.client.post(f"{API}/rig-checks", json=new | changes), 422, field)


def test_the_crew_ticks_what_it_looked_at_in_psi_and_reads_it_back(yard, rosa):
    rig = own_place(yard, site=yard.site, kind="rig", name="Truck 4")
    page = rosa.get("/rig-checks")
    assert "common practice, no source" in page.words
    form = page.form("/rig-checks", place=rig)
    form.fields |= {"nitrogen": "fine", "pressure": "2000", "desiccant_note": "pink at the top"}
    form.fields |= {"desiccant": "changed"}
    assert rosa.send(form).status_code == 303
    assert rosa.send(form).status_code == 303

    kept = yard.client.get(f"{API}/rig-checks", params={"place": rig}).json()["items"]
    found = {one["part"]: one for one in kept}
    assert len(kept) == 2
    assert found["nitrogen"]["pressure_kpa"] == pytest.approx(2000.0 * PSI_KPA, rel=1e-6)
    assert (found["desiccant"]["finding"], found["desiccant"]["by"]) == ("changed", "Rosa")
    words = rosa.get("/rig-checks").words.replace("\N{NO-BREAK SPACE}", " ")
    assert "2,000 psi, fine" in words
    assert "pink at the top" in words


def test_a_viewer_reads_and_records_nothing(serving, yard):
    rig = own_place(yard, site=yard.site, kind="rig", name="Truck 5")
    kept = keep(yard)
    checks = [{"part": "lubricant", "finding": "fine"}]
    with serving.client(Role.VIEWER) as viewer:
        body = {"id": str(uuid4()), "place": rig, "at": ago(), "checks": checks}
        assert viewer.post(f"{API}/rig-checks", json=body).status_code == 403
        entry = {"id": str(uuid4()), "deed": "took", "quantity": 1.0}
        answer = viewer.post(f"{API}/consumables/{kept['id']}/entries", json=entry)
        assert answer.status_code == 403
        assert viewer.get(f"{API}/rig-checks").status_code == 200
        assert viewer.get(f"{API}/consumables").status_code == 200
