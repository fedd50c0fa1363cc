"""Who may record what of a drum, over HTTP: design.md §5, "Who may"."""

import pytest

from drumkeep.domain.roles import Role
from tests.builders.stock import FIELDS, ago, event
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.serving import serving
from tests.fixtures.yard import yard

__all__ = ["serving", "yard"]

EVERYDAY = frozenset(FIELDS) - {"released", "disposed", "corrected"}
MAY = {
    Role.VIEWER: frozenset[str](),
    Role.CREW: EVERYDAY,
    Role.DISPATCHER: EVERYDAY,
    Role.MANAGER: frozenset(FIELDS),
}


@pytest.fixture(scope="module")
def gone(yard):
    """Give a drum that was disposed of, the one it might have gone into, and its receipt."""
    tag, other = yard.receive()["tag"], yard.receive()["tag"]
    yard.record(tag, "disposed", at=ago(0.5))
    return tag, other, yard.history(tag)["events"][0]["id"]


@pytest.mark.parametrize("kind", FIELDS)
@pytest.mark.parametrize("role", Role)
def test_a_role_may_record_what_is_its_own_to_record(yard, gone, role, kind):
    tag, other, receipt = gone
    own = {"event": receipt} if kind == "corrected" else {}
    before = stored(yard.serving)

    with yard.serving.client(role) as client:
        answer = yard.send(tag, yard.event(kind, other=other, **own), client=client)

    # The drum is gone: whoever may record is told so, and whoever may not is told that.
    if kind in MAY[role]:
        check_problem(answer, 409)
    else:
        check_problem(answer, 403)
        assert role in answer.json()["title"]
    assert stored(yard.serving) == before


def test_nobody_unknown_records_anything(yard, gone):
    with yard.serving.client() as nobody:
        check_problem(yard.send(gone[1], event("opened"), client=nobody), 401)


def test_a_session_must_show_its_token_to_record(yard, gone):
    with yard.serving.signed_in() as mara:
        del mara.headers["X-CSRF-Token"]
        check_problem(yard.send(gone[1], event("opened"), client=mara), 403)
