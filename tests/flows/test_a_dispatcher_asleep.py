"""A dispatcher asleep at home hears at 02:00 that the van will reach 50 °F at about 02:40.

The depot's clock is Chicago's: hour 0 is 6 pm, hour 8 is 2 am. The van was out of coverage since
the evening, so that its heater failed at midnight is known at 2 am and not before. Mail and webhook
are real receivers. How fast the liquid follows is the model's: the test asks what is told of it.
"""

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from drumkeep.domain.alarms import AlarmKind
from drumkeep.operations.accounts import create_account
from drumkeep.operations.notice_addresses import add_address
from drumkeep.scheduler.notices import NoticePost
from drumkeep.storage import notices as rows
from tests.fixtures.depot import BEGIN, MANAGER, at, depot, empty_depot, steady
from tests.fixtures.receivers import receiver

__all__ = ["depot", "empty_depot"]
pytestmark = pytest.mark.both_stores

TWO_AM = 8.0
MINUTE = 1.0 / 60.0


def person(depot, name, role, *urls, units="us"):
    with depot.writing() as tx:
        create_account(
            tx,
            name=name,
            display_name=name.title(),
            role=role,
            password="seven green ladders",
            units=units,
            now=BEGIN,
        )
        for url in urls:
            add_address(tx, account=name, url=url, by=MANAGER, now=BEGIN)


def outbox(depot):
    with depot.looking() as tx:
        return [(n.occasion, n.state) for n in reversed(rows.list_notices(tx))]


def load_out_of_coverage(depot):
    """Put two iso drums into a heated van at 6 pm; it is heard of last at 6:15 pm."""
    rooms = {place: steady(20.0, first_h=-60.0, last_h=16.0) for place in ("dock", "hall", "room")}
    depot.send(rooms | {"van": steady(15.0, first_h=-60.0, last_h=0.25)}, now=16.0)
    tags = [depot.receive("hall", -1.0, liquid_c=20.0) for _ in range(2)]
    for tag in tags:
        depot.record(tag, "moved", 0.0, to="van")
    depot.advance(1.0)
    assert not [a for a in depot.alarms() if a.kind == AlarmKind.COLD_LOAD]
    heated = steady(15.0, first_h=0.5, last_h=6.0)
    return tags, {**heated, **steady(6.8, first_h=6.25, last_h=TWO_AM)}


def test_she_is_told_once_by_phone_and_mail_and_in_the_morning_that_it_is_over(depot):
    post = NoticePost(depot.engine, link_base="https://drums.example.com")

    def send(hours):
        post.run(depot.engine, at(hours))
        post.wait()

    with receiver("mail") as mail, receiver() as hook, receiver() as managers:
        person(depot, "dana", "dispatcher", mail.url, hook.url)
        person(depot, "mona", "manager", managers.url)
        tags, night = load_out_of_coverage(depot)
        mail.down()  # her mail server sleeps too

        depot.send({"van": night}, now=TWO_AM)
        depot.advance(TWO_AM)
        send(TWO_AM)

        (alarm,) = [a for a in depot.alarms() if a.kind == AlarmKind.COLD_LOAD]
        local = alarm.deadline.astimezone(ZoneInfo("America/Chicago"))
        left = alarm.deadline - at(TWO_AM)
        assert timedelta(minutes=20) <= left <= timedelta(minutes=60)
        (told,) = hook.taken
        assert told.body.splitlines()[0] == (
            f"Bring 2 iso drums in from Van before 2:{local:%M} am: the lowest liquid reaches "
            f"50 °F. It will sit cold if nothing changes. {left.seconds // 60} min left."
        )
        assert "High, for dispatcher. North, 2:00 am CST." in told.body
        assert "Never heat a tight drum" in told.body
        assert f"https://drums.example.com/alarms#alarm-{alarm.id}" in told.body
        assert sorted(outbox(depot)) == [("first", "sent"), ("first", "waiting")]

        # The mail server is back in a quarter of an hour; the mail says what is left by then.
        mail.up()
        for minutes in range(1, 16):
            depot.advance(TWO_AM + minutes * MINUTE)
            send(TWO_AM + minutes * MINUTE)
        (letter,) = mail.taken
        assert letter.title.startswith("Bring 2 iso drums in from Van before 2:")
        assert len(hook.taken) == 1

        # She brings them in at 2:20, and hears by both that it is over; nobody else heard of it.
        for tag in tags:
            depot.record(tag, "moved", TWO_AM + 20 * MINUTE, to="room")
        for minutes in (25, 30, 60, 240):
            depot.advance(TWO_AM + minutes * MINUTE)
            send(TWO_AM + minutes * MINUTE)
        for taken in (mail.taken, hook.taken):
            assert len(taken) == 2
            assert taken[1].body.startswith("It is over since 2:25 am. It was: Bring 2 iso drums")
            assert len({one.notice_id for one in taken}) == 2
        assert not [one for one in managers.taken if "from Van" in one.body]
    assert sorted(set(outbox(depot))) == [("first", "sent"), ("over", "sent")]
