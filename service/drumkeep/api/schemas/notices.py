"""Notices and the addresses that they go to, as sent and answered."""

from typing import Annotated

from pydantic import Field

from drumkeep.asgi.fields import LEFT_OUT, Answer, Body, Line, MomentOut


class NoticeAddressIn(Body):
    """A new address, as Apprise writes it; it takes priorities from ``least`` up."""

    url: Annotated[str, Field(min_length=1, max_length=2000)]
    least: Line = "high"


class NoticeAddressPatch(Body):
    """What may change."""

    least: Line = LEFT_OUT


class NoticeAddressOut(Answer):
    """An address; ``shown`` is what may be seen of it, the whole is never answered."""

    id: int
    account: str
    channel: str
    shown: str
    least: str
    created_at: MomentOut


class NoticeOut(Answer):
    """One message to one address: what it is about, and what became of it.

    ``state``: waiting, sending, sent, failed (given up) or dropped (not needed any more).
    ``next_try_at`` while it waits; ``reason`` why the last try failed, or why it was dropped.
    """

    id: str
    alarm: str | None
    account: str
    to: str
    channel: str
    occasion: str
    state: str
    tries: int
    queued_at: MomentOut
    next_try_at: MomentOut | None
    ended_at: MomentOut | None
    reason: str | None
    text: str | None
