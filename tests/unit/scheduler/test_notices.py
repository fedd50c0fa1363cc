"""The job that sends: real receivers on real sockets, a real alarm, and time as an argument."""

import os
import signal
import subprocess
import sys
import textwrap
import time
from datetime import timedelta

import pytest

from drumkeep.domain.notices import CLAIMED_FOR
from drumkeep.operations import notices
from drumkeep.operations.accounts import create_account
from drumkeep.operations.notice_addresses import add_address
from drumkeep.scheduler.notices import AT_ONCE, NoticePost
from drumkeep.storage import notices as rows
from tests.fixtures.depot import BEGIN, MANAGER, at, depot, empty_depot
from tests.fixtures.receivers import receiver

__all__ = ["depot", "empty_depot"]


def address(depot, *urls, name="dana"):
    with depot.writing() as tx:
        create_account(
            tx,
            name=name,
            display_name=name.title(),
            role="manager",
            password="seven green ladders",
            now=BEGIN,
        )
        return [add_address(tx, account=name, url=url, by=MANAGER, now=BEGIN).id for url in urls]


def queue(depot, *addresses, seconds=0.0):
    """Queue a test to addresses: it goes the way of every notice."""
    with depot.writing() as tx:
        for one in addresses:
            found = rows.address(tx, address_id=one)
            assert found is not None
            notices.queue_test(tx, address=found, now=at(0.0) + timedelta(seconds=seconds))


def run(depot, post, seconds):
    post.run(depot.engine, at(0.0) + timedelta(seconds=seconds))
    post.wait()


def fates(depot):
    with depot.looking() as tx:
        return [(n.state, n.tries, n.reason) for n in reversed(rows.list_notices(tx))]


def test_a_receiver_that_was_down_for_a_while_gets_it_once(depot):
    post = NoticePost(depot.engine, link_base="https://drums.example.com")
    with receiver("mail") as there:
        there.down()
        queue(depot, *address(depot, there.url))
        run(depot, post, 0)
        assert fates(depot) == [("waiting", 1, "it refused the connection")]

        there.up()
        for seconds in (1, 20, 40, 60):
            run(depot, post, seconds)

        (taken,) = there.taken
        assert "https://drums.example.com/notices" in taken.body
    assert fates(depot) == [("sent", 2, "")]


def test_one_that_answers_late_holds_nobody_else_up(depot):
    post = NoticePost(depot.engine, link_base=None)
    with receiver() as slow, receiver() as quick:
        slow.delay_s = 1.0
        queue(depot, *address(depot, slow.url, quick.url))
        begun = time.monotonic()
        post.run(depot.engine, at(0.0))
        assert time.monotonic() - begun < 0.9  # the job does not wait for it
        quick.wait(1, within_s=0.9)
        assert slow.taken == []
        post.stop()
        assert len(slow.taken) == 1
    assert [state for state, *_ in fates(depot)] == ["sent", "sent"]


def test_no_more_are_sent_at_a_time_than_there_is_room_for(depot):
    post = NoticePost(depot.engine, link_base=None)
    with receiver() as there:
        there.delay_s = 0.05
        urls = [f"{there.url}/{n}" for n in range(8)]
        queue(depot, *address(depot, *urls))
        post.run(depot.engine, at(0.0))
        assert [state for state, *_ in fates(depot)].count("waiting") == len(urls) - AT_ONCE
        post.wait()
        run(depot, post, 2)
        assert len(there.taken) == len(urls)


def test_where_notices_are_off_nothing_is_sent(depot):
    post = NoticePost(depot.engine, link_base=None, sending=False)
    with receiver() as there:
        queue(depot, *address(depot, there.url))
        run(depot, post, 0)
        assert there.connected == 0
    assert fates(depot) == [("dropped", 0, "notices are switched off")]


def test_figures_tell_what_waits_and_what_was_given_up(depot):
    post = NoticePost(depot.engine, link_base=None)
    with receiver() as there:
        there.answer = 503
        queue(depot, *address(depot, there.url))
        run(depot, post, 5)
        figures = {name: read() for name, read in post.gauges().items()}
        assert figures["drumkeep_notices_waiting"] == 1.0
        assert figures["drumkeep_notices_oldest_waiting_seconds"] == 5.0
        assert figures["drumkeep_notices_tries_failed"] == 1.0
        assert figures["drumkeep_notices_failed_last_day"] == 0.0


KILLED = textwrap.dedent(
    """
    import sys
    from datetime import datetime
    from drumkeep.scheduler.notices import NoticePost
    from drumkeep.storage.engine import create

    engine = create(sys.argv[1])
    post = NoticePost(engine, link_base=None)
    post.run(engine, datetime.fromisoformat(sys.argv[2]))
    post.wait()
    """
)


@pytest.mark.parametrize("when", ["before it was sent", "after it was sent"])
def test_a_sender_killed_half_way_loses_nothing_and_what_comes_twice_has_one_id(depot, when):
    with receiver() as there:
        queue(depot, *address(depot, there.url))
        url = depot.engine.url.render_as_string(hide_password=False)
        command = [sys.executable, "-c", KILLED, url, at(0.0).isoformat()]
        if when == "before it was sent":
            there.answer = 503  # it takes nothing of what it hears
        process = subprocess.Popen(command, env=os.environ)
        there.before_answer = lambda: process.send_signal(signal.SIGKILL)
        assert process.wait(30) == -signal.SIGKILL
        assert [state for state, *_ in fates(depot)] == ["sending"]

        there.answer, there.before_answer = 200, lambda: None
        post = NoticePost(depot.engine, link_base=None)
        run(depot, post, CLAIMED_FOR.total_seconds() - 1)
        expected = 0 if when == "before it was sent" else 1
        assert len(there.taken) == expected
        for seconds in (1, 10, 600):
            run(depot, post, CLAIMED_FOR.total_seconds() + seconds)

        assert len(there.taken) == expected + 1
        assert len({taken.notice_id for taken in there.taken}) == 1
    assert [state for state, *_ in fates(depot)] == ["sent"]
