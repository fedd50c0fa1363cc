"""Pull lists over the API: what is picked, what is missing, what is refused with what instead."""

import pytest

from drumkeep.domain.grid import STEP_SECONDS
from drumkeep.domain.pulls import MOST_LOOKED_AT
from drumkeep.domain.roles import Role
from drumkeep.storage.drums import drum_by_tag
from drumkeep.storage.tables.estimates import Estimate
from drumkeep.storage.transaction import transaction
from tests.builders.stock import ago
from tests.fixtures.answers import check_problem
from tests.fixtures.pulling import Pulling, pulling
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import API, yard

__all__ = ["manager", "pulling", "serving", "yard"]


def tags(pull, side=None):
    return [d["tag"] for d in pull["drums"] if side in (None, d["side"])]


def test_ready_drums_of_one_lot_are_picked_the_partial_first_and_taken_once(pulling: Pulling):
    yard = pulling.yard
    full, partial = pulling.warm(), pulling.warm(net_kg=60.0)
    cold = pulling.warm(liquid_c=15.0, place=yard.place("hall"))
    held = pulling.warm()
    yard.record(held, "held", reason="a dent")
    resin = pulling.warm("resin")
    order = pulling.order()
    first, again = (yard.client.post(f"{API}/pulls", json=order).json() for _ in range(2))
    assert tags(first) == [partial, resin]
    assert again["id"] == first["id"]
    assert first["missing"] == []

    # a drum stands on one open list only
    other = pulling.pull(sets=2)
    assert tags(other, "iso") == [full]
    assert tags(other, "resin") == []
    lacking = {m["side"]: m for m in other["missing"]}
    assert lacking["iso"]["count"] == 1
    assert lacking["resin"]["count"] == 2
    why = {r["why"]: r["drums"] for r in lacking["iso"]["reasons"]}
    assert why == {"too_cold": 1, "on_hold": 1, "listed": 1}
    # the drum that is too cold could be ready, as its own page says
    told = yard.get(cold)["readiness"]
    times = [t for t in (told["ready_at"], told["ready_in_warm_room_at"]) if t]
    assert lacking["iso"]["waiting"] == 1
    assert lacking["iso"]["could_at"] == min(times)
    assert lacking["resin"]["waiting"] == 0
    assert lacking["resin"]["could_at"] is None

    taken = pulling.do(first, "take", tag=partial).json()
    assert next(d for d in taken["drums"] if d["tag"] == partial)["taken_by"] == "test manager"
    closed = pulling.do(first, "close", closed_as="done").json()
    assert closed["closed_as"] == "done"
    check_problem(pulling.do(first, "take", tag=resin), 409)
    assert tags(pulling.do(other, "fill").json(), "resin") == [resin]


def test_a_wrong_or_unready_drum_is_refused_and_the_one_to_take_is_named(pulling: Pulling):
    yard = pulling.yard
    listed, spare = pulling.warm(net_kg=50.0), pulling.warm()
    resin = pulling.warm("resin")
    pull = pulling.pull()
    assert tags(pull) == [listed, resin]
    wrong = check_problem(pulling.do(pull, "take", tag=spare), 409, "tag")
    assert f"Take {listed}" in wrong["mend"]

    yard.record(listed, "inspected", bulge="seen")
    marked = yard.client.get(f"{API}/pulls/{pull['id']}").json()
    row = next(d for d in marked["drums"] if d["tag"] == listed)
    assert (row["hindrance"], row["reason"]) == ("on_hold", "Somebody saw this drum bulged.")
    refused = check_problem(pulling.do(pull, "take", tag=listed), 409, "tag")
    assert f"Swap it for {spare}" in refused["mend"]
    swapped = pulling.do(pull, "swap", tag=listed).json()
    assert tags(swapped, "iso") == [spare]
    assert pulling.do(pull, "take", tag=spare).status_code == 200
    assert pulling.do(pull, "back", tag=spare).json()["drums"][-1]["taken_at"] is None
    check_problem(pulling.do(pull, "swap", tag=resin), 409)


def test_what_is_wanted_later_must_be_ready_then_where_it_stands(pulling: Pulling):
    # The room is kept at 27 °C, the hall lies at 18 °C: below 70 °F, where no drum stays ready.
    yard = pulling.yard
    stays = pulling.warm(net_kg=100.0)
    leaves = pulling.warm(place=yard.place("hall"), net_kg=60.0)
    for _ in range(2):
        pulling.warm("resin")
    assert tags(pulling.pull(), "iso") == [leaves]
    later = pulling.pull(wanted_at=ago(-40.0), sets=2)
    assert tags(later, "iso") == [stays]
    assert later["missing"][0]["reasons"] == [{"why": "listed", "drums": 1}]


def test_lots_are_mixed_on_a_side_only_where_no_lot_has_enough(pulling: Pulling):
    yard = pulling.yard
    yard.lot(yard.iso, "L-2")
    old = pulling.warm()
    young = [pulling.warm(lot="L-2") for _ in range(2)]
    for _ in range(3):
        pulling.warm("resin")
    two = pulling.pull(sets=2)
    assert set(tags(two, "iso")) == set(young)
    assert two["mixed_lots"] == []
    pulling.do(two, "close", closed_as="dropped")
    three = pulling.pull(sets=3)
    assert set(tags(three, "iso")) == {old, *young}
    assert three["mixed_lots"] == ["iso"]


def test_the_right_drum_is_found_behind_hundreds_whose_turn_comes_first(pulling: Pulling):
    yard = pulling.yard
    yard.lot(yard.iso, "L-2")
    # In the hall of 18 °C drums are ready now and cool below 70 °F; what was received cold is not.
    cold = pulling.warm(liquid_c=15.0, place=yard.place("hall"), net_kg=200.0)
    leaves = pulling.warm(place=yard.place("hall"), net_kg=201.0)
    right = pulling.warm(lot="L-2")
    pulling.warm("resin")
    pulling.copy(cold, times=250)
    now = pulling.pull()
    assert tags(now, "iso") == [leaves]
    pulling.do(now, "close", closed_as="dropped")
    pulling.copy(leaves, times=220)
    for _ in range(2):
        pulling.warm("resin")
    later = pulling.pull(wanted_at=ago(-40.0))
    assert tags(later, "iso") == [right]

    # what is missing is told of all of them
    (missing,) = (m for m in pulling.pull(wanted_at=ago(-40.0))["missing"] if m["side"] == "iso")
    assert (missing["count"], missing["ready"], missing["unlooked"]) == (1, 0, 0)
    assert {r["why"]: r["drums"] for r in missing["reasons"]} == {
        "too_cold": 251,
        "leaves": 221,
        "listed": 1,
    }


def test_of_more_drums_than_can_be_computed_ahead_it_is_said_how_many(pulling: Pulling):
    leaves = pulling.warm(place=pulling.yard.place("hall"), net_kg=201.0)
    pulling.warm("resin")
    pulling.copy(leaves, times=MOST_LOOKED_AT + 4)
    pull = pulling.pull(wanted_at=ago(-40.0))
    (missing,) = (m for m in pull["missing"] if m["side"] == "iso")
    assert missing["unlooked"] == 5
    page = pulling.yard.client.get(f"/pulls/{pull['id']}").text
    assert "too many to compute ahead: 5 drums" in page


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"sets": 0}, "sets"),
        ({"sets": 41}, "sets"),
        ({"wanted_at": "2020-01-01T00:00:00Z"}, "wanted_at"),
        ({"wanted_at": "2099-01-01T00:00:00Z"}, "wanted_at"),
        ({"site": "nowhere"}, "site"),
        ({"iso": "nothing"}, "iso"),
        ({"output": "much"}, "output"),
    ],
)
def test_what_cannot_be_is_told_by_field(pulling: Pulling, changes, field):
    answer = pulling.yard.client.post(f"{API}/pulls", json=pulling.order(**changes))
    check_problem(answer, 422, field)


def test_sides_that_do_not_go_together_make_no_list(pulling: Pulling):
    yard = pulling.yard
    client = yard.client
    crossed = pulling.order(iso=yard.resin, resin=yard.iso)
    check_problem(client.post(f"{API}/pulls", json=crossed), 422, "iso")
    client.patch(f"{API}/products/{yard.resin}", json={"system": "open"})
    check_problem(client.post(f"{API}/pulls", json=pulling.order()), 422, "resin")
    client.patch(f"{API}/products/{yard.resin}", json={"system": None})
    check_problem(client.post(f"{API}/pulls", json=pulling.order()), 409)  # nothing is there


def test_a_viewer_reads_lists_and_changes_none(serving, pulling: Pulling):
    pulling.warm()
    pull = pulling.pull()
    with serving.client(Role.VIEWER) as viewer:
        assert viewer.get(f"{API}/pulls", params={"open": True}).json()["items"]
        assert viewer.get(f"{API}/pulls/{pull['id']}").status_code == 200
        for deed in ("fill", "take", "back", "swap", "close"):
            assert viewer.post(f"{API}/pulls/{pull['id']}/{deed}", json={}).status_code == 403
        assert viewer.post(f"{API}/pulls", json={}).status_code == 403
        assert viewer.post(f"{API}/side-checks", json={}).status_code == 403


def test_drum_on_a_list_is_offered_to_nobody_else_as_the_one_to_take_instead(pulling: Pulling):
    yard = pulling.yard
    cold = pulling.warm(liquid_c=15.0, place=yard.place("hall"))
    listed, free = pulling.warm(net_kg=60.0), pulling.warm()
    with yard.serving.client(Role.VIEWER) as viewer:
        assert f"/d/{listed}" in viewer.get(f"/d/{cold}").text
        pulling.pull()
        page = viewer.get(f"/d/{cold}").text
    assert f"/d/{free}" in page
    assert f"/d/{listed}" not in page


def test_of_drums_that_were_last_computed_long_ago_none_is_ready_for_anything(pulling: Pulling):
    client = pulling.yard.client
    iso, resin = pulling.warm(), pulling.warm("resin")
    pull = pulling.pull()
    with transaction(pulling.yard.serving.engine) as tx:
        for tag in (iso, resin):
            drum = drum_by_tag(tx, tag=tag)
            assert drum is not None
            estimate = tx.session.get_one(Estimate, drum.id)
            estimate.step -= 40 * 60 // STEP_SECONDS
            tx.session.add(estimate)
    now = client.get(f"{API}/pulls/{pull['id']}").json()
    assert {drum["hindrance"] for drum in now["drums"]} == {"stale"}
    check_problem(pulling.do(pull, "take", tag=iso), 409, "tag")
    assert pulling.check(iso, resin)["answer"] == "not_ready"
    page = client.get(f"/d/{iso}").text
    assert "ASK" in page
    assert "READY" not in page
