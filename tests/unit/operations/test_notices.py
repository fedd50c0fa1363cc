"""The outbox: who is told what of an alarm, once, and what becomes of what cannot be told.

Alarms come from the depot's own drums; nothing is sent here, the test says what came of it.
"""

from datetime import timedelta

import pytest

from drumkeep.domain.alarms import AlarmKind, AlarmState
from drumkeep.domain.notices import (
    AMENDED_AFTER,
    CLAIMED_FOR,
    KEPT,
    MOST_PER_ALARM,
    MOST_TRIES,
    UNKNOWN,
    pause_after,
)
from drumkeep.domain.quantities import celsius_from_fahrenheit as f
from drumkeep.operations import notices
from drumkeep.operations.accounts import change_account, create_account
from drumkeep.operations.alarms import acknowledge, evaluate_alarms, shelve
from drumkeep.operations.notice_addresses import add_address, change_address, remove_address
from drumkeep.storage import notices as rows
from tests.fixtures.depot import (
    BEGIN,
    MANAGER,
    MEASURED,
    at,
    depot,
    empty_depot,
    short_sight,
    steady,
)

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")

HOOK = "json://hooks.example.com/dana"


def person(depot, name, role, *urls, least="high"):
    with depot.writing() as tx:
        create_account(
            tx,
            name=name,
            display_name=name.title(),
            role=role,
            password="seven green ladders",
            now=BEGIN,
        )
        return [
            add_address(tx, account=name, url=url, least=least, by=MANAGER, now=BEGIN).id
            for url in urls
        ]


def claim(depot, hours, *, seconds=0.0, most=10, **more):
    with depot.writing() as tx:
        return notices.claim(
            tx, most=most, link_base=None, now=at(hours) + timedelta(seconds=seconds), **more
        )


def settle(depot, letter, hours, reason=None, *, seconds=0.0):
    with depot.writing() as tx:
        notices.settle(
            tx,
            notice_id=letter.notice_id,
            tries=letter.tries,
            reason=reason,
            now=at(hours) + timedelta(seconds=seconds),
        )


def outbox(depot):
    """Return occasion, state and reason of each notice, in the order of their queueing."""
    with depot.looking() as tx:
        found = sorted(rows.list_notices(tx), key=lambda n: (n.queued_at, n.number, n.address_id))
        return [(n.occasion, n.state, n.reason) for n in found]


def states(depot):
    return [(occasion, state) for occasion, state, _ in outbox(depot)]


def warm(depot, *, hours=6.0):
    """Send mild air of all places."""
    depot.send({place: steady(20.0, first_h=-48.0, last_h=hours) for place in MEASURED}, now=hours)


def cold_van(depot, hours=0.0):
    """Put an iso drum into the van that is cold already; its alarm is the dispatcher's, high."""
    warm(depot)
    tag = depot.receive("van", hours, liquid_c=5.0)
    depot.advance(hours + 0.5)
    (alarm,) = [a for a in depot.alarms() if a.kind == AlarmKind.COLD_LOAD]
    return tag, alarm


def bring_in(depot, tag, hours):
    depot.record(tag, "moved", hours, to="room")
    depot.advance(hours + 0.1)


@pytest.mark.both_stores
def test_an_alarm_is_told_once_to_those_that_it_is_for(depot):
    person(depot, "dana", "dispatcher", HOOK, "json://hooks.example.com/phone")
    person(depot, "mona", "manager", "json://hooks.example.com/mona")
    person(depot, "cris", "crew", "json://hooks.example.com/cris")

    cold_van(depot)
    letters = claim(depot, 0.5)

    assert {letter.url for letter in letters} == {HOOK, "json://hooks.example.com/phone"}
    assert all("Bring 1 iso drum in from Van" in letter.body for letter in letters)
    for letter in letters:
        settle(depot, letter, 0.5)
    depot.advance(1.0)
    assert claim(depot, 1.0) == []
    assert states(depot) == [("first", "sent")] * 2


def test_the_notice_is_stored_with_its_alarm_or_neither_is(depot):
    person(depot, "mona", "manager", HOOK, least="medium")
    warm(depot)

    def look(*, break_off):
        with depot.writing() as tx:
            evaluate_alarms(tx, now=at(12.0))  # every sensor is silent by then
            if break_off:
                raise RuntimeError("just before the commit")

    with pytest.raises(RuntimeError, match="just before"):
        look(break_off=True)
    assert (depot.alarms(), outbox(depot)) == ([], [])

    look(break_off=False)
    assert len(depot.alarms()) == len(outbox(depot)) == len(MEASURED)


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

    assert outbox(depot) == [("first", "failed", "it refused the connection")]
    assert 8.0 <= pauses[0] <= 12.0
    assert max(pauses) <= 15 * 60 * 1.2
    assert seconds < 6 * 3600.0
    assert claim(depot, 20.0) == []


@pytest.mark.both_stores
def test_a_sender_that_dies_leaves_a_claim_that_runs_out_and_the_same_id_goes_again(depot):
    person(depot, "dana", "dispatcher", HOOK)
    cold_van(depot)
    (first,) = claim(depot, 0.5)
    assert "already" not in first.body

    assert claim(depot, 0.5, seconds=CLAIMED_FOR.total_seconds() - 1) == []
    (second,) = claim(depot, 0.5, seconds=CLAIMED_FOR.total_seconds() + 1)

    assert (second.notice_id, second.tries) == (first.notice_id, 2)
    assert "You may have had this message already." in second.body
    settle(depot, first, 0.6, "it did not answer in time")  # who was taken for dead says so
    assert states(depot) == [("first", "sending")]
    settle(depot, second, 0.6)
    settle(depot, first, 0.6)
    assert states(depot) == [("first", "sent")]


def test_a_cause_that_ends_before_it_was_told_is_not_told(depot):
    person(depot, "dana", "dispatcher", HOOK)
    tag, _ = cold_van(depot)
    (letter,) = claim(depot, 0.5)
    settle(depot, letter, 0.5, "it refused the connection")

    bring_in(depot, tag, 1.0)

    assert claim(depot, 1.1) == []
    assert outbox(depot) == [("first", "dropped", "it was over before")]


def test_who_was_told_hears_that_it_is_over_and_nobody_else(depot):
    (told, _) = person(depot, "dana", "dispatcher", HOOK, "json://hooks.example.com/down")
    tag, _ = cold_van(depot)
    for letter in claim(depot, 0.5):
        down = letter.url.endswith("down")
        settle(depot, letter, 0.5, "it refused the connection" if down else None)

    bring_in(depot, tag, 1.0)
    (letter,) = claim(depot, 1.1)

    assert letter.url == HOOK
    assert letter.notice_id.split("-")[1:] == [str(told), "2"]
    assert letter.body.startswith("It is over since 7:06 pm. It was: Bring 1 iso drum in")


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
    assert outbox(depot)[0] == ("first", "failed", UNKNOWN)


def test_more_drums_are_told_in_one_amendment_after_a_while(depot):
    person(depot, "dana", "dispatcher", HOOK)
    cold_van(depot)
    (letter,) = claim(depot, 0.5)
    settle(depot, letter, 0.5)

    depot.receive("van", 0.5, liquid_c=5.0)
    depot.advance(1.0)
    depot.receive("van", 1.0, liquid_c=5.0)
    depot.advance(1.1)
    assert claim(depot, 1.1) == []
    (amended,) = claim(depot, 1.0, seconds=AMENDED_AFTER.total_seconds() + 1)

    assert amended.body.startswith("Bring 2 iso drums in") or amended.body.startswith("Bring 3")
    assert "This amends what you were told." in amended.body
    assert states(depot)[-1] == ("amended", "sending")


def test_an_amendment_that_is_not_needed_any_more_is_not_sent(depot):
    person(depot, "dana", "dispatcher", HOOK)
    cold_van(depot)
    (letter,) = claim(depot, 0.5)
    settle(depot, letter, 0.5)
    more = depot.receive("van", 0.5, liquid_c=5.0)
    depot.advance(1.0)
    depot.record(more, "moved", 1.01, to="room")
    depot.advance(1.1)

    assert claim(depot, 2.0) == []
    assert outbox(depot)[-1] == ("amended", "dropped", "it is as it was told before")


def test_what_grows_graver_is_told_again_even_when_it_was_acknowledged(depot):
    person(depot, "dana", "dispatcher", HOOK)
    air = {place: steady(20.0, first_h=-48.0, last_h=0.0) for place in MEASURED}
    depot.send(air | {"van": steady(0.0, first_h=-48.0, last_h=6.0)}, now=6.0)
    depot.receive("van", 0.0, liquid_c=f(56))
    depot.advance(0.25)
    (alarm,) = [a for a in depot.alarms() if a.kind == AlarmKind.COLD_LOAD]
    assert alarm.details["phase"] == "forecast"
    (letter,) = claim(depot, 0.25)
    assert " left." in letter.body.splitlines()[0]
    settle(depot, letter, 0.25)
    with depot.writing() as tx:
        acknowledge(tx, alarm_id=alarm.id, by=MANAGER, now=at(0.3))

    depot.advance(2.5)
    (graver,) = claim(depot, 2.5)

    assert "It is graver than you were told." in graver.body
    assert "since" in graver.body.splitlines()[0]


def test_what_comes_back_is_told_again_after_it_was_told_to_be_over(depot):
    person(depot, "dana", "dispatcher", HOOK)
    tag, alarm = cold_van(depot)
    for hours, to in ((0.5, None), (1.0, "room"), (2.0, "van")):
        if to:
            depot.record(tag, "moved", hours, to=to)
            if to == "van":
                for _ in range(2):
                    depot.record(tag, "dipped", hours, c=5.0, sigma_k=0.001)
            depot.advance(hours + 0.5)
        for letter in claim(depot, hours + 0.5):
            settle(depot, letter, hours + 0.5)

    assert states(depot) == [("first", "sent"), ("over", "sent"), ("again", "sent")]
    (found,) = [a for a in depot.alarms() if a.id == alarm.id]
    assert found.state == AlarmState.UNACKNOWLEDGED


def test_a_cause_that_comes_and_goes_is_not_told_for_ever(depot):
    person(depot, "dana", "dispatcher", HOOK)
    tag, alarm = cold_van(depot)
    with depot.writing() as tx:
        for _ in range(MOST_PER_ALARM):
            notices.tell_over(tx, alarm, now=at(1.0))
            for notice in rows.list_notices(tx):
                notice.state = "sent"
            notices.tell(tx, alarm, occasion=notices.Occasion.GRAVER, now=at(1.0))
            for notice in rows.list_notices(tx):
                notice.state = "sent"
    assert len(outbox(depot)) == MOST_PER_ALARM
    assert tag in alarm.drums


def test_an_address_takes_the_priorities_that_its_owner_wants(depot):
    warm(depot)
    person(depot, "mona", "manager", HOOK)
    person(depot, "mike", "manager", "json://hooks.example.com/mike", least="medium")
    (critical,) = person(depot, "max", "manager", "json://hooks.example.com/max", least="critical")
    with depot.writing() as tx:
        change_address(
            tx, account="max", address_id=critical, changes={"least": "critical"}, by=MANAGER
        )

    depot.receive("hall", 0.0, side="resin", liquid_c=29.0)  # gassing: medium, the manager's
    depot.receive("hall", 0.0, liquid_c=5.0)  # seeding: high
    depot.advance(1.0)

    told = {}
    for _ in range(3):
        for letter in claim(depot, 1.0):
            told.setdefault(letter.url.rsplit("/")[-1], []).append(letter.priority)
            settle(depot, letter, 1.0)
    assert told == {"dana": ["high"], "mike": ["high", "medium"]}


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
                tx, account="dana", address_id=address, changes={"least": "critical"}, by=MANAGER
            )
        else:
            shelve(tx, alarm_id=alarm.id, minutes=30, reason="x", by=MANAGER, now=at(0.5))

    assert claim(depot, 0.5) == []
    assert outbox(depot) == [("first", "dropped", reason)]


def test_a_removed_address_is_forgotten_and_what_was_sent_there_stays_on_record(depot):
    (address,) = person(depot, "dana", "dispatcher", HOOK)
    cold_van(depot)
    (letter,) = claim(depot, 0.5)
    settle(depot, letter, 0.5)
    with depot.writing() as tx:
        remove_address(tx, account="dana", address_id=address, by=MANAGER, now=at(0.6))

    with depot.looking() as tx:
        assert rows.address(tx, address_id=address).url == ""
    assert states(depot) == [("first", "sent")]


def test_where_notices_are_switched_off_nothing_goes_out_then_or_later(depot):
    person(depot, "dana", "dispatcher", HOOK)
    cold_van(depot)

    assert claim(depot, 0.5, sending=False) == []
    assert claim(depot, 0.6) == []
    assert outbox(depot) == [("first", "dropped", "notices are switched off")]


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


def test_alarms_that_nobody_would_hear_of_are_known(depot):
    _, alarm = cold_van(depot)
    person(depot, "mona", "manager", HOOK)
    with depot.looking() as tx:
        assert notices.untold(tx, [alarm]) == [alarm]

    person(depot, "dana", "dispatcher", HOOK, least="critical")
    with depot.looking() as tx:
        assert notices.untold(tx, [alarm]) == [alarm]

    person(depot, "dora", "dispatcher", HOOK)
    with depot.looking() as tx:
        assert notices.untold(tx, [alarm]) == []


@pytest.mark.both_stores
def test_what_became_of_notices_is_forgotten_after_three_months_and_what_waits_is_not(depot):
    person(depot, "dana", "dispatcher", HOOK, "json://hooks.example.com/other")
    cold_van(depot)
    letter, _ = claim(depot, 0.5)
    settle(depot, letter, 0.5)
    later = at(0.5) + KEPT + timedelta(hours=1)
    with depot.writing() as tx:
        assert notices.forget_old(tx, now=later - timedelta(hours=2)) == 0
        assert notices.forget_old(tx, now=later) == 1
    assert states(depot) == [("first", "sending")]
