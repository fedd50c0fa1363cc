"""The outbox: claimed, tried again, given up, dropped, and never claimed twice at a time."""

from datetime import timedelta

import pytest
from sqlalchemy import text

from drumkeep.domain.alarms import AlarmState
from drumkeep.domain.notices import (
    CLAIMED_FOR,
    KEPT,
    MOST_TRIES,
    UNKNOWN,
    pause_after,
)
from drumkeep.notify.apprise_sender import NO_ANSWER
from drumkeep.operations import outbox
from drumkeep.operations.accounts import change_account
from drumkeep.operations.alarms import shelve
from drumkeep.operations.notice_addresses import change_address, remove_address
from drumkeep.storage import notices as rows
from tests.fixtures.depot import MANAGER, at, depot, empty_depot, short_sight
from tests.fixtures.outbox import (
    HOOK,
    bring_in,
    claim,
    cold_van,
    fates,
    person,
    settle,
    states,
    warm,
)

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")


def test_two_who_share_an_address_make_one_message_and_a_claimed_one_is_not_claimed_again(depot):
    person(depot, "dana", "dispatcher", HOOK)
    person(depot, "dora", "dispatcher", HOOK)
    cold_van(depot)

    assert len(claim(depot, 0.5)) == 1
    assert claim(depot, 0.5) == []


def test_what_was_not_taken_is_tried_again_later_and_later_and_given_up_in_the_end(depot):
    person(depot, "dana", "dispatcher", HOOK)
    cold_van(depot)
    seconds = 0.0
    pauses = []
    for tries in range(1, MOST_TRIES + 1):
        (letter,) = claim(depot, 0.5, seconds=seconds)
        assert letter.tries == tries
        settle(depot, letter, 0.5, "it refused the connection", seconds=seconds)
        if tries < MOST_TRIES:
            pause = pause_after(tries, notice_id=letter.notice_id).total_seconds()
            assert claim(depot, 0.5, seconds=seconds + pause - 0.5) == []
            assert states(depot) == [("first", "waiting")]
            pauses.append(pause)
            seconds += pause

    assert fates(depot) == [("first", "failed", "it refused the connection")]
    assert 8.0 <= pauses[0] <= 12.0
    assert max(pauses) <= 15 * 60 * 1.2
    assert seconds < 6 * 3600.0
    assert claim(depot, 20.0) == []


def test_what_may_have_been_taken_though_no_answer_came_says_so_and_what_it_says_anew_has_a_key(
    depot,
):
    person(depot, "dana", "dispatcher", HOOK)
    cold_van(depot)
    (first,) = claim(depot, 0.5)
    settle(depot, first, 0.5, NO_ANSWER)
    (again,) = claim(depot, 0.5, seconds=60.0)
    assert "You may have had this message already." in again.body
    assert again.key == first.key

    settle(depot, again, 0.5, NO_ANSWER, seconds=60.0)
    with depot.writing() as tx:
        tx.session.connection().execute(text("UPDATE alarm SET message = 'It is under 50 °F.'"))
    (graver,) = claim(depot, 0.5, seconds=300.0)
    assert graver.notice_id == first.notice_id
    assert graver.key != first.key


@pytest.mark.both_stores
def test_a_sender_that_dies_leaves_a_claim_that_runs_out_and_the_same_id_goes_again(depot):
    person(depot, "dana", "dispatcher", HOOK)
    cold_van(depot)
    (first,) = claim(depot, 0.5)
    assert "already" not in first.body

    assert claim(depot, 0.5, seconds=CLAIMED_FOR.total_seconds() - 1) == []
    (second,) = claim(depot, 0.5, seconds=CLAIMED_FOR.total_seconds() + 1)

    assert (second.notice_id, second.key, second.tries) == (first.notice_id, first.key, 2)
    assert "You may have had this message already." in second.body
    settle(depot, first, 0.6, "it did not answer in time")  # who was taken for dead says so
    assert states(depot) == [("first", "sending")]
    settle(depot, second, 0.6)
    settle(depot, first, 0.6)
    assert states(depot) == [("first", "sent")]


def test_while_one_is_being_sent_its_end_waits_and_goes_only_if_that_arrived(depot):
    person(depot, "dana", "dispatcher", HOOK)
    tag, alarm = cold_van(depot)
    (first,) = claim(depot, 0.5)
    claimed_at = 0.5
    bring_in(depot, tag, 0.42)  # recorded just after
    (ended,) = [a for a in depot.alarms() if a.id == alarm.id]
    assert ended.state == AlarmState.RETURNED_UNACKNOWLEDGED
    assert claim(depot, claimed_at, seconds=100) == []

    settle(depot, first, claimed_at, "it did not answer in time", seconds=100)
    assert claim(depot, 1.0) == []

    assert states(depot) == [("first", "dropped"), ("over", "dropped")]


def test_an_end_told_after_a_sender_died_stands_beside_a_notice_whose_fate_is_unknown(depot):
    person(depot, "dana", "dispatcher", HOOK)
    tag, _ = cold_van(depot)
    claim(depot, 0.5)
    bring_in(depot, tag, 1.0)

    assert [letter.notice_id[-1] for letter in claim(depot, 1.1)] == ["2"]
    assert fates(depot)[0] == ("first", "failed", UNKNOWN)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ("remove", "the address was removed"),
        ("disable", "the account is closed"),
        ("role", "it is not for the viewer"),
        ("least", "the address takes graver ones only"),
        ("shelve", "the alarm was shelved before"),
    ],
)
def test_what_waits_stops_when_it_is_nobodys_any_more(depot, change, reason):
    (address,) = person(depot, "dana", "dispatcher", HOOK)
    _, alarm = cold_van(depot)
    with depot.writing() as tx:
        account = rows.owners(tx, address_ids=[address])[address][1].id
        if change == "remove":
            remove_address(tx, account="dana", address_id=address, by=MANAGER, now=at(0.5))
        elif change == "disable":
            change_account(tx, account_id=account, changes={"disabled": True}, now=at(0.5))
        elif change == "role":
            change_account(tx, account_id=account, changes={"role": "viewer"}, now=at(0.5))
        elif change == "least":
            change_address(
                tx,
                account="dana",
                address_id=address,
                changes={"least": "critical"},
                by=MANAGER,
                now=at(0.5),
            )
        else:
            shelve(tx, alarm_id=alarm.id, minutes=30, reason="x", by=MANAGER, now=at(0.5))

    assert claim(depot, 0.5) == []
    assert fates(depot) == [("first", "dropped", reason)]


def test_a_sender_that_dies_of_a_notice_again_and_again_does_not_for_ever(depot):
    person(depot, "dana", "dispatcher", HOOK)
    cold_van(depot)
    for tries in range(MOST_TRIES):
        seconds = tries * (CLAIMED_FOR.total_seconds() + 1)
        assert [letter.tries for letter in claim(depot, 0.5, seconds=seconds)] == [tries + 1]

    assert claim(depot, 0.5, seconds=seconds + CLAIMED_FOR.total_seconds() + 1) == []
    assert fates(depot) == [("first", "failed", UNKNOWN)]


def test_a_removed_address_is_forgotten_and_what_was_sent_there_stays_on_record(depot):
    (address,) = person(depot, "dana", "dispatcher", HOOK)
    cold_van(depot)
    (letter,) = claim(depot, 0.5)
    settle(depot, letter, 0.5)
    with depot.writing() as tx:
        remove_address(tx, account="dana", address_id=address, by=MANAGER, now=at(0.6))

    with depot.looking() as tx:
        kept = rows.address(tx, address_id=address)
        assert kept is not None
        assert kept.url == ""
    assert states(depot) == [("first", "sent")]


def test_where_notices_are_switched_off_nothing_goes_out_then_or_later(depot):
    person(depot, "dana", "dispatcher", HOOK)
    cold_van(depot)

    assert claim(depot, 0.5, sending=False) == []
    assert claim(depot, 0.6) == []
    assert fates(depot) == [("first", "dropped", "notices are switched off")]


def test_the_gravest_go_first_where_there_is_room_for_few(depot):
    urls = [f"json://hooks.example.com/{n}" for n in range(3)]
    person(depot, "mike", "manager", *urls, least="medium")
    warm(depot)
    depot.receive("hall", 0.0, side="resin", liquid_c=29.0)
    depot.advance(0.6)
    depot.receive("hall", 0.6, liquid_c=5.0)
    depot.advance(1.0)

    assert [letter.priority for letter in claim(depot, 1.0, most=2)] == ["high", "high"]
    assert [letter.priority for letter in claim(depot, 1.0, most=2)] == ["high"]


@pytest.mark.both_stores
def test_what_became_of_notices_is_forgotten_after_three_months_and_what_waits_is_not(depot):
    person(depot, "dana", "dispatcher", HOOK, "json://hooks.example.com/other")
    cold_van(depot)
    letter, _ = claim(depot, 0.5)
    settle(depot, letter, 0.5)
    later = at(0.5) + KEPT + timedelta(hours=1)
    with depot.writing() as tx:
        assert outbox.forget_old(tx, now=later - timedelta(hours=2)) == 0
        assert outbox.forget_old(tx, now=later) == 1
    assert states(depot) == [("first", "sending")]
