"""Liquid poured from drum to drum, its age, its agent and the cold of its lot: API and pages."""

from datetime import datetime, timedelta

import pytest

from tests.builders.stock import ago, event
from tests.fixtures.answers import check_problem
from tests.fixtures.html import Page
from tests.fixtures.people import signed_in
from tests.fixtures.serving import serving
from tests.fixtures.yard import API, LOT, yard

__all__ = ["serving", "yard"]


def kinds(yard, tag):
    return [happened["kind"] for happened in yard.history(tag)["events"]]


def test_a_pour_stands_in_both_logs_and_both_masses(yard):
    donor, receiver = yard.receive(), yard.receive(net_kg=100.0)
    recorded = yard.record(donor["tag"], "decanted", kg=60.0, to=receiver["tag"])

    assert recorded["drum"]["net_kg"] == 190.0
    assert yard.get(receiver["tag"])["net_kg"] == 160.0
    there = yard.history(receiver["tag"])["events"][-1]
    assert (there["kind"], there["data"]["from"]) == ("topped", donor["tag"])
    assert there["data"]["pour"] == recorded["event"]["id"]


def test_resin_poured_into_iso_is_refused_loudly(yard):
    iso, resin = yard.receive(net_kg=100.0)["tag"], yard.receive(product=yard.resin)["tag"]

    answer = yard.send(resin, event("decanted", kg=5.0, to=iso))

    fault = check_problem(answer, 422, "to")
    assert "NEVER pour A into B" in answer.json()["title"] + answer.json()["detail"]
    assert "iso (A)" in fault["problem"]
    assert kinds(yard, iso) == kinds(yard, resin) == ["received"]


def test_the_crew_pours_by_the_form_of_the_drums_page(serving, yard):
    donor, receiver = yard.receive()["tag"], yard.receive(net_kg=100.0)["tag"]
    with signed_in(serving, "crew") as ann:
        page = ann.get(f"/drums/{donor}")
        assert "NEVER pour A into B" in page.words
        answer = ann.record(donor, "decanted", mass="100", to=f" {receiver.lower()} ")
        assert answer.status_code == 303, Page(answer.text).words

        # 100 lb are 45.359237 kg, exactly
        assert yard.get(receiver)["net_kg"] == pytest.approx(145.359237)
        assert "Topped up with 100 lb" in ann.get(f"/drums/{receiver}").words


def test_what_the_other_drum_cannot_hold_is_told_in_the_words_of_the_form(serving, yard):
    donor, full = yard.receive()["tag"], yard.receive()["tag"]
    with signed_in(serving, "crew") as ann:
        answer = ann.record(donor, "decanted", mass="100", to=full)
    words = Page(answer.text).words

    assert answer.status_code == 422
    assert all(part in words for part in ("How much", "100 lb", full, "does not hold"))
    assert kinds(yard, full) == ["received"]


def test_age_is_answered_and_shown(serving, yard):
    drum = yard.receive()
    age = drum["age"]

    # made twenty days ago; an hour on record and the rest at the reference, 75 °F
    assert age["days"] == pytest.approx(20.5, abs=0.6)
    assert age["equivalent_days"] == pytest.approx(age["days"], abs=0.1)
    assert age["reference_c"] == pytest.approx((75.0 - 32.0) / 1.8)
    assert age["mkt_c"] == pytest.approx(18.0, abs=1.0)
    assert age["counted_days"] == pytest.approx(1.0 / 24.0, abs=0.01)
    assert age["ends_at"] == age["expires_at"]
    made, expires = (datetime.fromisoformat(age[name]) for name in ("made_at", "expires_at"))
    assert expires - made == timedelta(days=180) == timedelta(days=age["life_days"])
    with signed_in(serving, "viewer") as eve:
        words = eve.get(f"/drums/{drum['tag']}").words
    assert f"Age {age['days']:.0f} days; as old as after" in words
    assert "days at 75 °F. Mean kinetic temperature 64 °F over the 0.0 days on record" in words


def test_a_drum_older_than_its_lot_says_so_by_its_label(yard):
    label = ago(24.0 * 100)[:10]
    drum = yard.receive(made_on=label)

    assert drum["age"]["made_at"].startswith(label)
    assert drum["age"]["days"] == pytest.approx(100.5, abs=0.6)
    body = yard.drum(made_on=ago(-24.0 * 5)[:10])
    check_problem(yard.client.post(f"{API}/drums", json=body), 422, "made_on")
    receipt = yard.history(drum["tag"])["events"][0]["id"]
    younger = {"event": receipt, "void": False, "data": {"made_on": ago(24.0 * 50)[:10]}}
    answer = yard.send(drum["tag"], event("corrected", **younger))
    assert answer.status_code == 201, answer.text
    assert answer.json()["drum"]["age"]["days"] == pytest.approx(50.5, abs=0.6)


def test_heat_that_used_up_the_shelf_life_holds_the_drum(yard):
    short = yard.client.patch(
        f"{API}/lots/{yard.iso}/{yard.lot(yard.iso, 'L-HOT')}",
        json={"expires_on": ago(-24.0 * 2)[:10]},
    )
    assert short.status_code == 200, short.text
    tag = yard.receive(lot="L-HOT", at=ago(47.0), liquid_c=60.0)["tag"]

    drum = yard.get(tag)
    assert datetime.fromisoformat(drum["age"]["ends_at"]) < datetime.fromisoformat(
        drum["age"]["expires_at"]
    )
    assert drum["age"]["equivalent_days"] > drum["age"]["days"] + 3.0
    assert drum["readiness"]["state"] == "on_hold"
    assert any("Heat has used up" in reason for reason in drum["readiness"]["reasons"])


def test_agent_lost_is_answered_shown_and_past_the_allowance_released_by_a_manager(serving, yard):
    changed = yard.client.patch(
        f"{API}/products/{yard.resin}", json={"limits": {"agent_loss_allowance": 0.01}}
    )
    assert changed.status_code == 200, changed.text
    tag = yard.receive(product=yard.resin, liquid_c=20.0)["tag"]
    assert (yard.get(tag)["agent"]["lost_kg"], yard.get(tag)["agent"]["suspected"]) == (0.0, False)

    drum = yard.record(tag, "weighed", gross_kg="?", net_kg=60.0)["drum"]

    agent = drum["agent"]
    assert agent["whole_kg"] == pytest.approx(60.0 * 0.08)
    assert 0.0 < agent["lost_low_kg"] < agent["lost_kg"] < agent["lost_high_kg"]
    assert agent["lost_share"] == pytest.approx(agent["lost_kg"] / agent["whole_kg"])
    assert agent["suspected"]
    assert "agent_loss_suspected" in drum["conditions"]
    assert drum["readiness"]["state"] == "on_hold"
    assert any("blowing agent" in reason for reason in drum["readiness"]["reasons"])
    with signed_in(serving, "manager") as boss:
        words = boss.get(f"/drums/{tag}").words
        assert "1.0 % is allowed (given with the product, source not named)" in words
        answer = boss.record(tag, "released", reason="a test spray rose well")
        assert answer.status_code == 303
    assert "agent_loss_suspected" not in yard.get(tag)["conditions"]
    assert yard.get(tag)["agent"]["lost_kg"] == pytest.approx(agent["lost_kg"])


def test_cold_of_one_drum_marks_its_lot_for_ever(serving, yard):
    lot = yard.lot(yard.iso, "L-COLD")
    tag = yard.receive(lot=lot, at=ago(30.0), liquid_c=4.0, place=yard.place("dock"))["tag"]
    other = yard.receive(lot=lot)["tag"]
    yard.record(tag, "emptied")

    mark = yard.client.get(f"{API}/lots/{yard.iso}/{lot}").json()["was_cold"]
    assert (mark["drums"], mark["min_c"] < 10.0, mark["hours"] > 2.0) == (1, True, True)
    listed = yard.client.get(f"{API}/lots", params={"product": yard.iso}).json()["items"]
    assert {item["code"]: item["was_cold"] is None for item in listed}[LOT]
    with signed_in(serving, "viewer") as eve:
        assert "Its lot 1 drum of it went cold" in eve.get(f"/drums/{other}").words
        words = eve.get(f"/drums/{tag}").words
    assert "Was cold down to 39 °F" in words
    assert "This mark stays. It is a rule of thumb" in words
