"""What is told of an alarm: to whom, once, and again when it grows graver, is amended or over.

Alarms come from the depot's own drums; nothing is sent here, the test says what came of it.
"""

import pytest

from drumkeep.domain.alarms import AlarmKind, AlarmState
from drumkeep.domain.notices import (
    AMENDED_AFTER,
    MOST_PER_ALARM,
    Occasion,
)
from drumkeep.domain.quantities import celsius_from_fahrenheit as f
from drumkeep.operations import notices
from drumkeep.operations.alarms import acknowledge, evaluate_alarms
from drumkeep.operations.notice_addresses import change_address
from drumkeep.storage import notices as rows
from tests.fixtures.depot import MANAGER, MEASURED, at, depot, empty_depot, short_sight, steady
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
    assert (depot.alarms(), fates(depot)) == ([], [])

    look(break_off=False)
    assert len(depot.alarms()) == len(fates(depot)) == len(MEASURED)


def test_a_cause_that_ends_before_it_was_told_is_not_told(depot):
    person(depot, "dana", "dispatcher", HOOK)
    tag, _ = cold_van(depot)
    (letter,) = claim(depot, 0.5)
    settle(depot, letter, 0.5, "it refused the connection")

    bring_in(depot, tag, 1.0)

    assert claim(depot, 1.1) == []
    assert fates(depot) == [("first", "dropped", "it was over before")]


def test_an_address_added_while_an_alarm_is_on_hears_of_it_once(depot):
    cold_van(depot)
    (late,) = person(depot, "dana", "dispatcher", HOOK)
    person(depot, "mona", "manager", "json://hooks.example.com/mona", least="medium")
    person(depot, "dov", "dispatcher", HOOK)  # shares hers

    (letter,) = claim(depot, 0.5)
    assert letter.notice_id.split("-")[1:] == [str(late), "1"]
    assert "Bring 1 iso drum in from Van" in letter.body
    settle(depot, letter, 0.5)
    depot.advance(1.0)
    with depot.writing() as tx:
        change_address(
            tx,
            account="dana",
            address_id=late,
            changes={"least": "low"},
            by=MANAGER,
            now=at(1.0),
        )
    assert claim(depot, 1.0) == []
    assert states(depot) == [("first", "sent")]


def test_an_address_that_takes_more_from_now_on_hears_of_what_is_open(depot):
    (address,) = person(depot, "mona", "manager", HOOK, least="critical")
    warm(depot)
    with depot.writing() as tx:
        evaluate_alarms(tx, now=at(12.0))  # every sensor is silent by then
    assert fates(depot) == []

    with depot.writing() as tx:
        change_address(
            tx,
            account="mona",
            address_id=address,
            changes={"least": "low"},
            by=MANAGER,
            now=at(12.0),
        )
    assert states(depot) == [("first", "waiting")] * len(MEASURED)


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
    assert fates(depot)[-1] == ("amended", "dropped", "it is as it was told before")


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
            notices.tell(
                tx,
                alarm,
                listeners=rows.listeners(tx),
                occasion=Occasion.GRAVER,
                now=at(1.0),
            )
            for notice in rows.list_notices(tx):
                notice.state = "sent"
    told = [occasion for occasion, *_ in fates(depot)]
    assert len(told) == MOST_PER_ALARM + 1
    assert told[-1] == "over"
    assert tag in alarm.drums


def test_an_address_takes_the_priorities_that_its_owner_wants(depot):
    warm(depot)
    person(depot, "mona", "manager", HOOK)
    person(depot, "mike", "manager", "json://hooks.example.com/mike", least="medium")
    (critical,) = person(depot, "max", "manager", "json://hooks.example.com/max", least="critical")
    with depot.writing() as tx:
        change_address(
            tx,
            account="max",
            address_id=critical,
            changes={"least": "critical"},
            by=MANAGER,
            now=at(0.0),
        )

    depot.receive("hall", 0.0, side="resin", liquid_c=29.0)  # gassing: medium, the manager's
    depot.receive("hall", 0.0, liquid_c=5.0)  # seeding: high
    depot.advance(1.0)

    told: dict[str, list[str]] = {}
    for _ in range(3):
        for letter in claim(depot, 1.0):
            told.setdefault(letter.url.rsplit("/")[-1], []).append(letter.priority)
            settle(depot, letter, 1.0)
    assert told == {"dana": ["high"], "mike": ["high", "medium"]}


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
