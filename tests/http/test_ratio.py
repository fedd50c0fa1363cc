"""The ratio pulses at the gun: one tap puts both drums of the set up to be looked at."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest

from drumkeep.scheduler import rounds
from tests.builders import catalogue
from tests.builders.stock import ago, event
from tests.fixtures.answers import check_problem
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import serving
from tests.fixtures.yard import API, Yard, yard

__all__ = ["serving", "yard"]


@pytest.fixture(scope="module")
def crew(serving) -> Iterator[Person]:
    with signed_in(serving, "crew") as person:
        yield person


@pytest.fixture
def rig(yard) -> str:
    """Give a rig of its own."""
    body = {"site": yard.site, "code": catalogue.fresh("rig"), "name": "Rig", "kind": "rig"}
    made = yard.client.post(f"{API}/places", json=body)
    assert made.status_code == 201, made.text
    return f"{yard.site}/{body['code']}"


def drums(yard: Yard, rig: str) -> tuple[str, str]:
    """Return an iso and a resin drum that stand open on a rig."""
    a, b = (
        yard.receive(product=product, place=rig, liquid_c=24.0)["tag"]
        for product in (yard.iso, yard.resin)
    )
    for tag in (a, b):
        yard.record(tag, "opened")
    return a, b


def alarms(yard: Yard, rig: str) -> list[dict[str, Any]]:
    rounds.evaluate(yard.serving.engine, datetime.now(UTC))  # noqa: TID251 - the real clock
    found = yard.client.get(f"{API}/alarms").json()["items"]
    return [one for one in found if one["kind"] == "ratio_off" and one["cause"] == rig]


def test_one_tap_puts_both_up_until_each_was_looked_at(yard, crew, rig):
    a, b = drums(yard, rig)

    answer = crew.record(a, "ratio_off")  # the form as it is shown, and its button

    assert answer.status_code == 303, Page(answer.text).words
    for tag, other in ((a, b), (b, a)):
        readiness = yard.get(tag)["readiness"]
        assert readiness["state"] == "on_hold"
        assert f"with drum {other}" in " ".join(readiness["reasons"])
        assert "LOOK FIRST" in crew.get(f"/d/{tag}").words
        assert "Look first: the ratio pulsed" in crew.get(f"/drums/{tag}").words
    (alarm,) = alarms(yard, rig)
    assert (set(alarm["drums"]), alarm["priority"]) == ({a, b}, "high")

    yard.record(a, "dipped", c=24.0, height_m=0.1)
    assert yard.get(a)["readiness"]["state"] != "on_hold"
    assert [one["drums"] for one in alarms(yard, rig)] == [[b]]
    yard.record(b, "agitated", minutes=15.0)
    assert yard.get(b)["readiness"]["state"] != "on_hold" or "pulsed" not in str(
        yard.get(b)["readiness"]["reasons"]
    )
    assert [one["state"] for one in alarms(yard, rig)] in ([], ["returned_unacknowledged"])


def test_of_several_open_drums_the_other_is_named_or_only_one_is_put_up(yard, rig):
    a, b = drums(yard, rig)
    _, other = drums(yard, rig)

    assert "with" not in yard.record(a, "ratio_off")["event"]["data"]
    assert yard.get(b)["readiness"]["state"] != "on_hold"
    named = yard.record(other, "ratio_off", **{"with": a})
    assert named["event"]["data"]["with"] == a
    assert other in " ".join(yard.get(a)["readiness"]["reasons"])


def test_a_set_is_two_drums_of_two_sides(yard, rig):
    a, _ = drums(yard, rig)
    same = yard.receive()["tag"]
    for tag, part in ((same, "holds iso too"), (a, "this drum"), ("AAA-AAA", "not known")):
        answer = yard.send(a, event("ratio_off", **{"with": tag}))
        assert part in check_problem(answer, 422, "with")["problem"]
    assert [one["kind"] for one in yard.history(a)["events"]] == ["received", "opened"]


def test_taken_back_by_one_it_is_taken_back_for_both(yard, rig):
    a, b = drums(yard, rig)
    for first, second in ((a, b), (b, a)):
        yard.record(first, "ratio_off")
        told = yard.history(second)["events"][-1]["id"]
        yard.record(second, "corrected", event=told)
        for tag in (a, b):
            assert "pulsed" not in str(yard.get(tag)["readiness"]["reasons"])


def test_the_scale_is_kept_and_filled_in_the_next_time(yard, crew):
    tag = yard.receive(at=ago(3.0))["tag"]
    crew.record(tag, "weighed", mass="400", weighed_as="gross", resolution="0.5")
    page = crew.get(f"/drums/{tag}")
    words = page.words.replace("\N{NO-BREAK SPACE}", " ")
    assert "by a scale to 0.5 lb" in words
    assert "weighed to 0.25 lb either way" in words
    assert "its steel, 40 lb, is taken off" in words
    assert page.form(f"/drums/{tag}/events", kind="weighed").fields["resolution"] == "0.5"
    other = yard.receive(net_kg=100.0)["tag"]
    crew.record(tag, "decanted", mass="10", to=other)
    assert "either way" not in crew.get(f"/drums/{tag}").words


def test_a_gassing_drum_is_opened_only_by_who_ticks_that_they_vent_slowly(yard, crew):
    tag = yard.receive(product=yard.resin, liquid_c=27.0, net_kg=120.0)["tag"]
    assert "gassing" in yard.get(tag)["conditions"]
    form = crew.fill(f"/drums/{tag}", f"/drums/{tag}/events", kind="opened")
    assert "sure" not in form.fields  # nobody ticked it
    answer = crew.send(form)
    assert answer.status_code == 409
    assert "Tick that box" in Page(answer.text).words
    form.fields["sure"] = "yes"
    assert crew.send(form).status_code == 303
