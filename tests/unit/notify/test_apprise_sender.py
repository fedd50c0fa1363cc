"""One notice, sent for real to receivers of this machine: taken, refused, late, down."""

import logging
from collections.abc import Iterator

import pytest

from drumkeep.domain.alarms import Priority
from drumkeep.notify.apprise_sender import Letter, send, unreadable
from tests.fixtures.receivers import receiver

BODY = "Bring 6 iso drums in from Box van before 2:40 am: the lowest liquid reaches 50 °F."


def letter(url, *, trusted=True):
    return Letter(
        notice_id="a1-7-1",
        key="a1-7-1-e3",
        tries=1,
        url=url,
        title="drumkeep: High alarm, North",
        body=f"{BODY}\nHigh, for dispatcher.",
        priority=Priority.HIGH,
        over=False,
        trusted=trusted,
    )


@pytest.mark.parametrize("scheme", ["json", "mail"])
def test_a_notice_arrives_once_whole_and_with_its_id(scheme):
    with receiver(scheme) as there:
        assert send(letter(there.url)) is None

    (taken,) = there.taken
    assert taken.title == "drumkeep: High alarm, North"
    assert taken.body == f"{BODY}\nHigh, for dispatcher."
    assert taken.notice_id == "a1-7-1-e3"


class Log(logging.Handler):
    """What the service's log would hold at its most talkative."""

    def __init__(self) -> None:
        super().__init__()
        self.text = ""

    def emit(self, record: logging.LogRecord) -> None:
        self.text += f"{record.name} {record.getMessage()}\n"


@pytest.fixture
def log() -> Iterator[Log]:
    root, found = logging.getLogger(), Log()
    level = root.level
    root.addHandler(found)
    root.setLevel(logging.DEBUG)
    yield found
    root.setLevel(level)
    root.removeHandler(found)


@pytest.mark.parametrize("scheme", ["json", "mail"])
@pytest.mark.parametrize("up", [True, False])
def test_no_log_and_no_reason_tells_anything_of_the_address(scheme, up, log):
    with receiver(scheme) as there:
        if not up:
            there.down()
        reason = send(letter(there.url))
    logging.getLogger("drumkeep").debug("the log listens")

    assert reason == (None if up else "it refused the connection")
    assert "the log listens" in log.text
    assert "s3cr3t" not in log.text
    assert "dana@" not in log.text


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (403, "it did not accept the password or key"),
        (404, "there is nothing at that address (404)"),
        (429, "it has had too many messages (429)"),
        (503, "it answered with error 503"),
    ],
)
def test_a_refusal_is_told_in_words(answer, words):
    with receiver() as there:
        there.answer = answer
        assert send(letter(there.url)) == words
        assert there.taken == []
        assert there.connected == 1  # no tries of Apprise's own beside ours


def test_a_mail_server_that_puts_off_is_a_reason():
    with receiver("mail") as there:
        there.answer = 451
        assert send(letter(there.url)) is not None
        assert there.taken == []


def test_an_address_asks_for_no_tries_and_patience_of_its_own():
    with receiver() as there:
        there.answer = 503
        url = f"{there.url}?retry=3&wait=5&redirect=yes&cto=60&rto=60"
        assert send(letter(url)) == "it answered with error 503"
        assert there.connected == 1


def test_who_is_no_manager_leads_nothing_into_the_own_network():
    with receiver() as there:
        for host in ("127.0.0.1", "localhost"):
            url = f"json://{host}:{there.port}/"
            reason = send(letter(url, trusted=False))
            assert reason == "it leads into the own network, which only a manager may name"
        assert there.connected == 0


def test_what_apprise_cannot_read_or_leads_to_several_is_told_without_its_value():
    (fault,) = unreadable("twilio://nonsense")
    assert (fault.field, fault.value) == ("url", "twilio://…")
    assert "cannot be read" in fault.problem

    (fault,) = unreadable(
        "mailto://mail.example.com/a@example.com/b@example.com?from=c@example.com"
    )
    assert fault.value == "mailto://…"
    assert "2 recipients" in fault.problem
