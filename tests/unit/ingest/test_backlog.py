"""The queue between the network and the writer is bounded, ordered, and ends when closed."""

import threading
from typing import NamedTuple

from drumkeep.ingest.backlog import Backlog


class Message(NamedTuple):
    mid: int
    octets: int


def message(number: int, *, octets: int = 1) -> Message:
    return Message(number, octets)


def take(backlog: Backlog[Message], *, messages: int = 100, octets: int = 1000) -> list[int] | None:
    taken = backlog.take(most_messages=messages, most_octets=octets, timeout_s=0, linger_s=0)
    return None if taken is None else [one.mid for one in taken]


def test_messages_are_taken_in_the_order_in_which_they_came():
    backlog = Backlog[Message]()
    for number in range(5):
        assert backlog.put([message(number)])

    assert take(backlog, messages=3) == [0, 1, 2]
    assert take(backlog) == [3, 4]
    assert take(backlog) == []


def test_a_batch_ends_before_it_exceeds_its_octets_but_holds_one():
    backlog = Backlog[Message]()
    for number, octets in enumerate((400, 400, 400, 5000, 1)):
        backlog.put([message(number, octets=octets)])

    assert [take(backlog) for _ in range(4)] == [[0, 1], [2], [3], [4]]


def test_a_full_backlog_holds_the_sender_back_until_there_is_room():
    for backlog in (Backlog[Message](most_messages=1), Backlog[Message](most_octets=10)):
        backlog.put([message(1, octets=10)])
        sender = threading.Thread(target=backlog.put, args=([message(2, octets=10)],))
        sender.start()
        sender.join(0.1)
        assert sender.is_alive()
        assert len(backlog) == 1

        assert take(backlog) == [1]
        sender.join(5)
        assert not sender.is_alive()
        assert take(backlog) == [2]


def test_a_message_larger_than_the_backlog_passes_when_it_is_empty():
    backlog = Backlog[Message](most_octets=10)

    assert backlog.put([message(1, octets=11)])
    assert take(backlog, octets=1) == [1]


def test_a_closed_backlog_gives_what_it_has_and_takes_no_more():
    backlog = Backlog[Message](most_messages=1)
    backlog.put([message(1)])
    let_in: list[bool] = []
    sender = threading.Thread(target=lambda: let_in.append(backlog.put([message(2)])))
    sender.start()

    backlog.close()
    sender.join(5)

    assert let_in == [False]
    assert take(backlog) == [1]
    assert take(backlog) is None


def test_what_has_waited_is_taken_at_once_and_what_comes_first_waits_for_more():
    backlog = Backlog[Message]()
    more = threading.Timer(0.05, backlog.put, args=([message(2)],))

    backlog.put([message(1)])
    more.start()
    at_once = backlog.take(most_messages=2, most_octets=1000, timeout_s=20, linger_s=20)
    more.join()
    backlog.take(most_messages=2, most_octets=1000, timeout_s=0, linger_s=0)
    some = [threading.Timer(delay, backlog.put, args=([message(3)],)) for delay in (0.05, 0.1)]
    for one in some:
        one.start()
    together = backlog.take(most_messages=2, most_octets=1000, timeout_s=20, linger_s=20)

    assert at_once is not None
    assert [one.mid for one in at_once] == [1]
    assert together is not None
    assert [one.mid for one in together] == [3, 3]
