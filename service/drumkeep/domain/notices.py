"""Notices: what is told of an alarm to people who are elsewhere, when again, and when no more.

A notice is for one address and one occasion of one alarm. It waits, is claimed by whoever sends it,
and ends as sent, failed (given up) or dropped (not needed any more).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from hashlib import blake2b
from typing import Final

from drumkeep.domain.alarms import RANK, AlarmState, Priority


class Occasion(StrEnum):
    """Why something is told."""

    FIRST = "first"
    GRAVER = "graver"
    AGAIN = "again"
    AMENDED = "amended"
    OVER = "over"
    TEST = "test"


class NoticeState(StrEnum):
    """How far a notice has come."""

    WAITING = "waiting"
    SENDING = "sending"
    SENT = "sent"
    FAILED = "failed"
    DROPPED = "dropped"


class Channel(StrEnum):
    """What kind of thing takes a notice; the value is how people say it."""

    MAIL = "mail"
    TEXT = "text message"
    CHAT = "chat"
    PUSH = "push message"
    ON_CALL = "on-call service"
    WEBHOOK = "webhook"


USUALLY_TOLD: Final = Priority.HIGH
"""An address takes this and what is graver, unless its owner wants otherwise."""

CLAIMED_FOR: Final = timedelta(seconds=120)
"""A claim holds so long; a sender that has not answered by then is taken for dead.

It is longer than a sending takes in which every answer comes at the last moment.
"""

UNKNOWN: Final = "nobody knows whether it went out: the service ended while it was sent"
"""Why a notice is sent once more whose sender died: told twice is better than not at all."""

MOST_TRIES: Final = 20
MOST_TRIES_OF_TEST: Final = 3
OLDEST: Final = timedelta(hours=6)
"""What could not be told for so long is told no more."""

MOST_PER_ALARM: Final = 12
"""Messages on one alarm to one address: a cause that comes and goes is no reason for more."""

AMENDED_AFTER: Final = timedelta(minutes=10)
"""Changes within this are told in one message."""

OTHER_DEADLINE: Final = timedelta(minutes=30)
"""A deadline that moved by less is not told anew."""

KEPT: Final = timedelta(days=90)

TELLABLE: Final = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
"""States in which there is something to be done."""

_FIRST_PAUSE: Final = timedelta(seconds=10)
_LONGEST_PAUSE: Final = timedelta(minutes=15)
_JITTER: Final = 0.2


def wants(least: Priority, priority: Priority) -> bool:
    """Tell whether an address that takes ``least`` and graver takes this priority."""
    return RANK[priority] <= RANK[least]


def pause_after(tries: int, *, notice_id: str) -> timedelta:
    """Return how long to wait after so many tries in vain: longer each time, up to 15 min.

    Different notices wait differently long (± 20 %), so that they do not come back all at once.
    """
    plain = min(_FIRST_PAUSE * 2.0 ** min(tries - 1, 10), _LONGEST_PAUSE)
    digest = blake2b(f"{notice_id} {tries}".encode(), digest_size=4).digest()
    share = int.from_bytes(digest) / 2**32
    return plain * (1.0 - _JITTER + 2.0 * _JITTER * share)


def exhausted(occasion: Occasion, *, tries: int, queued_at: datetime, now: datetime) -> bool:
    """Tell whether a notice has been tried often or long enough."""
    most = MOST_TRIES_OF_TEST if occasion is Occasion.TEST else MOST_TRIES
    return tries >= most or now - queued_at >= OLDEST


@dataclass(frozen=True, slots=True)
class Said:
    """What of a cause was said last: the drums under it and until when acting helps."""

    drums: Sequence[str]
    deadline: datetime | None


def corrected(said: Said, now: Said) -> bool:
    """Tell whether what was said of a cause is no longer right enough to act on."""
    if sorted(said.drums) != sorted(now.drums):
        return True
    if said.deadline is None or now.deadline is None:
        return (said.deadline is None) != (now.deadline is None)
    return abs(now.deadline - said.deadline) >= OTHER_DEADLINE
