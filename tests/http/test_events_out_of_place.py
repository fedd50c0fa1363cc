"""Events that make no sense after what is on record, and wishes that come and go."""

import pytest

from tests.builders.stock import FIELDS, ago, event
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.serving import serving
from tests.fixtures.yard import API, yard

__all__ = ["serving", "yard"]


@pytest.fixture(scope="module")
def idle(yard):
    """Give a drum to which nothing happens: what is sent of it is refused."""
    return yard.receive()["tag"]


@pytest.fixture(scope="module")
def other(yard):
    """Give a second drum, to pour into and from."""
    return yard.receive(net_kg=150.0)["tag"]


def test_a_move_before_the_receipt_is_refused(yard, idle):
    before = stored(yard.serving)

    answer = yard.send(idle, event("moved", to=yard.place("van"), at=ago(2.0)))

    assert "before the drum was received" in check_problem(answer, 409, "at")["problem"]
    assert stored(yard.serving) == before


def test_a_move_to_where_the_drum_is_is_refused(yard, idle):
    answer = yard.send(idle, event("moved", to=yard.place("hall")))

    assert check_problem(answer, 409, "to")["value"] == yard.place("hall")


@pytest.mark.parametrize("end", ["emptied", "disposed"])
def test_after_a_drum_is_gone_nothing_happens_to_it(yard, other, end):
    tag = yard.receive()["tag"]
    yard.record(tag, "held", reason="to see it stay", at=ago(0.5))
    yard.record(tag, end, at=ago(0.2))
    before = stored(yard.serving)

    for kind in FIELDS:
        if kind != "corrected":
            answer = yard.send(tag, yard.event(kind, other=other))
            assert end in check_problem(answer, 409, "kind")["problem"], kind
    assert stored(yard.serving) == before

    # what happened before may still be told
    assert yard.send(tag, event("opened", at=ago(0.4))).status_code == 201


def test_more_liquid_than_a_drum_holds_is_refused(yard, other):
    tag = yard.receive(net_kg=260.0)["tag"]

    for body, field in (
        (event("topped", kg=10.0, **{"from": other}), "kg"),
        (event("weighed", gross_kg=300.0), "net_kg"),
        (event("weighed", gross_kg=None, net_kg=270.0), "net_kg"),
    ):
        # 0.2165 m³ to the brim at 1230 kg/m³ are 266.3 kg
        assert "does not hold" in check_problem(yard.send(tag, body), 422, field)["problem"]


def test_more_than_is_in_a_drum_is_not_poured_out(yard, other):
    tag = yard.receive(net_kg=50.0)["tag"]

    fault = check_problem(yard.send(tag, event("decanted", kg=50.5, to=other)), 409, "kg")

    assert (fault["value"], "50.0 kg" in fault["mend"]) == (50.5, True)
    assert yard.record(tag, "decanted", kg=50.0, to=other)["drum"]["net_kg"] == 0.0


def test_a_drum_is_not_filled_from_itself(yard, idle):
    check_problem(yard.send(idle, event("topped", **{"from": idle.lower()})), 422, "from")
    check_problem(yard.send(idle, event("decanted", to=idle)), 422, "to")


def test_a_dip_above_the_liquid_is_refused(yard):
    tag = yard.receive(net_kg=60.0)["tag"]
    # 60 kg / (1230 kg/m³ x pi (0.286 m)²) = 0.190 m
    for kind in ("dipped", "skin"):
        answer = yard.send(tag, event(kind, height_m=0.25))
        assert "0.19 m" in check_problem(answer, 422, "height_m")["problem"]
        assert yard.send(tag, event(kind, height_m=0.19)).status_code == 201


def test_less_than_the_empty_drum_weighs_is_refused(yard):
    tag = yard.receive(tare_kg=25.0)["tag"]

    fault = check_problem(yard.send(tag, event("weighed", gross_kg=20.0)), 422, "gross_kg")

    assert "25.0 kg" in fault["mend"]
    assert yard.record(tag, "weighed", gross_kg=125.0)["drum"]["net_kg"] == 100.0


def test_a_bulged_drum_is_not_moved_and_ends_only_by_a_look_and_a_release(yard):
    tag = yard.receive()["tag"]
    seen = yard.record(tag, "inspected", bulge="seen", at=ago(0.5))["drum"]
    assert (seen["condition"], seen["readiness"]["state"]) == ("bulged", "on_hold")
    assert "do not move" in " ".join(seen["readiness"]["cautions"])

    move = event("moved", to=yard.place("van"), at=ago(0.4))
    assert "Step away" in check_problem(yard.send(tag, move), 409, "kind")["mend"]
    check_problem(yard.send(tag, event("released", at=ago(0.4))), 409, "kind")

    yard.record(tag, "inspected", bulge="none", at=ago(0.3))
    check_problem(yard.send(tag, move | {"at": ago(0.25)}), 409, "kind")
    released = yard.record(tag, "released", at=ago(0.2))["drum"]
    assert (released["condition"], released["readiness"]["state"]) == ("clear", "too_cold")
    assert yard.send(tag, event("moved", to=yard.place("van"))).status_code == 201


# Wanted


def test_a_drum_wanted_says_when_warming_it_up_must_start(yard):
    tag = yard.receive()["tag"]
    wish = ago(-48.0)

    wanted = yard.record(tag, "wanted", at=wish, output="from_20")["drum"]

    assert wanted["wanted_at"] == wish
    assert ago() < wanted["start_by"] < wish
    room = yard.record(tag, "moved", to=yard.place("room"))["drum"]
    assert room["start_by"] is None  # it is in the warm room


def test_a_wish_for_an_output_is_what_readiness_is_judged_for(yard):
    tag = yard.receive()["tag"]
    assert (
        yard.get(tag)["readiness"] | {"output": "from_20", "state": "too_cold"}
        == yard.get(tag)["readiness"]
    )

    wanted = yard.record(tag, "wanted", at=ago(-5.0), output="under_20")["drum"]

    assert (wanted["readiness"]["output"], wanted["readiness"]["state"]) == ("under_20", "ready")
    assert tag in [
        d["tag"] for d in yard.client.get(f"{API}/drums?readiness=ready&limit=200").json()["items"]
    ]


def test_a_wish_withdrawn_is_gone(yard):
    tag = yard.receive()["tag"]
    wish = yard.record(tag, "wanted", at=ago(-30.0))["event"]

    drum = yard.record(tag, "wanted", at=ago(), withdrawn=True)["drum"]

    assert (drum["wanted_at"], drum["start_by"]) == (None, None)
    log = yard.history(tag)["events"]
    assert next(e["id"] for e in log if e["kind"] == "wanted") == wish["id"]


def test_a_wish_is_put_later_by_another_or_by_a_correction(yard):
    tag = yard.receive()["tag"]
    yard.record(tag, "wanted", at=ago(-30.0))
    later_wish = ago(-40.0)
    later = yard.record(tag, "wanted", at=later_wish)
    assert later["drum"]["wanted_at"] == later_wish

    fixed = ago(-50.0)
    moved = yard.record(tag, "corrected", event=later["event"]["id"], void=False, new_at=fixed)
    assert moved["drum"]["wanted_at"] == fixed

    change = {"withdrawn": True}
    gone = yard.record(tag, "corrected", event=later["event"]["id"], void=False, data=change)
    assert gone["drum"]["wanted_at"] is None
