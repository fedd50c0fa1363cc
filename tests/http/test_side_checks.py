"""Two drums before they are hooked up, over the API: the answers, and that they stay on record."""

from datetime import UTC, datetime

import pytest

from drumkeep.scheduler import rounds
from tests.builders import catalogue
from tests.fixtures.answers import check_problem
from tests.fixtures.pulling import SYSTEM, Pulling, pulling
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import API, yard

__all__ = ["manager", "pulling", "serving", "yard"]


def test_one_a_and_one_b_of_one_system_fit_while_both_are_ready(pulling: Pulling):
    iso, resin = pulling.warm(), pulling.warm("resin")
    fit = pulling.check(iso, resin)
    assert fit["answer"] == "fit"
    assert fit["by"] == "test manager"
    assert [(d["tag"], d["side"], d["system"]) for d in fit["drums"]] == [
        (iso, "iso", SYSTEM),
        (resin, "resin", SYSTEM),
    ]
    pulling.yard.record(resin, "inspected", bulge="seen")
    shut = pulling.check(iso, resin)
    assert shut["answer"] == "not_ready"
    assert shut["reasons"] == [f"B, {resin}: DO NOT OPEN. Somebody saw this drum bulged."]


def test_two_of_a_side_and_one_scanned_twice_must_not_be_hooked_up(pulling: Pulling):
    iso, other = pulling.warm(), pulling.warm()
    assert pulling.check(iso, other)["reasons"] == [f"Both are A, iso: {iso} and {other}."]
    assert pulling.check(iso, iso)["answer"] == "do_not"


def test_of_different_systems_never_and_of_a_system_nobody_said_ask(pulling: Pulling):
    iso, resin = pulling.warm(), pulling.warm("resin")
    where = f"{API}/products/{pulling.yard.resin}"
    pulling.yard.client.patch(where, json={"system": "open"})
    assert pulling.check(iso, resin)["answer"] == "do_not"
    pulling.yard.client.patch(where, json={"system": None})
    assert pulling.check(iso, resin)["answer"] == "ask"


def test_lots_of_the_list_and_of_the_rig_are_asked_for(pulling: Pulling):
    yard = pulling.yard
    yard.lot(yard.iso, "L-2")
    iso, resin = pulling.warm(), pulling.warm("resin")
    pull = pulling.pull()
    other = pulling.warm(lot="L-2")
    assert pulling.check(iso, resin, pull=pull["id"])["answer"] == "fit"
    strange = pulling.check(other, resin, pull=pull["id"])
    assert strange["answer"] == "ask"
    assert strange["reasons"] == [
        f"A, {other} is not on the pull list.",
        f"A, {other} is of lot L-2; on the list is lot L-1.",
    ]
    pulling.warm(place=yard.place("van"))
    mixed = pulling.check(other, resin, rig=yard.place("van"))
    assert mixed["reasons"] == [f"A, {other} is of lot L-2; on the rig is lot L-1."]
    assert pulling.check(iso, resin, rig=yard.place("van"))["answer"] == "fit"


def test_a_mismatch_raises_an_alarm_that_a_check_that_fits_ends(pulling: Pulling):
    yard = pulling.yard
    iso, other, resin = pulling.warm(), pulling.warm(), pulling.warm("resin")
    body = {"site": yard.site, "code": catalogue.fresh("rig"), "name": "Rig", "kind": "rig"}
    assert yard.client.post(f"{API}/places", json=body).status_code == 201
    rig = f"{yard.site}/{body['code']}"

    def states() -> list[tuple[str, str, list[str]]]:
        rounds.evaluate(yard.serving.engine, datetime.now(UTC))  # noqa: TID251 - the real clock
        found = yard.client.get(f"{API}/alarms").json()["items"]
        ours = [one for one in found if one["kind"] == "side_mismatch" and one["cause"] == rig]
        return [(one["state"], one["priority"], one["drums"]) for one in ours]

    pulling.check(iso, other, rig=rig)
    assert states() == [("unacknowledged", "high", [iso, other])]
    pulling.check(iso, resin)  # for nobody knows which rig
    assert states() == [("unacknowledged", "high", [iso, other])]
    assert pulling.check(iso, resin, rig=rig)["answer"] == "fit"
    assert states() in ([], [("returned_unacknowledged", "high", [iso, other])])


def test_every_check_is_kept_and_found_by_drum_and_by_answer(pulling: Pulling):
    client = pulling.yard.client
    iso, other, resin = pulling.warm(), pulling.warm(), pulling.warm("resin")
    fit, wrong = pulling.check(iso, resin), pulling.check(other, iso)
    kept = client.get(f"{API}/side-checks", params={"drum": iso}).json()["items"]
    assert kept == [wrong, fit]
    loud = client.get(f"{API}/side-checks", params={"drum": iso, "answer": "do_not"}).json()
    assert loud["items"] == [wrong]
    assert client.get(f"{API}/side-checks/{fit['id']}").json() == fit
    assert client.get(f"{API}/side-checks/999999").status_code == 404


def test_the_same_id_is_the_same_check_and_never_of_other_drums(pulling: Pulling):
    client = pulling.yard.client
    iso, resin, other = pulling.warm(), pulling.warm("resin"), pulling.warm("resin")
    body = {"id": "6f1c1d0e-6b0b-4a5e-9d0a-3d1c6a1b2c3d", "first": iso, "second": resin}
    first, again = (client.post(f"{API}/side-checks", json=body).json() for _ in range(2))
    assert first == again
    check_problem(client.post(f"{API}/side-checks", json=body | {"second": other}), 409)


@pytest.mark.parametrize("field", ["first", "second", "rig"])
def test_what_is_not_known_is_told_by_field(pulling: Pulling, field):
    iso = pulling.warm()
    body = {"id": "6f1c1d0e-6b0b-4a5e-9d0a-3d1c6a1b2c3e", "first": iso, "second": iso}
    answer = pulling.yard.client.post(f"{API}/side-checks", json=body | {field: "K7Q-X4A"})
    check_problem(answer, 422, field)
