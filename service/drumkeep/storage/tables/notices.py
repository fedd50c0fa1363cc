"""Notices of alarms to people elsewhere: where to, and what becomes of each."""

from datetime import datetime

from sqlmodel import JSON, Field, SQLModel


class NoticeAddress(SQLModel, table=True):
    """Where somebody is told; ``url`` is a secret, and emptied when the address is removed.

    It takes priorities from ``least`` up. ``trusted``: a manager entered it.
    """

    __tablename__ = "notice_address"

    id: int = Field(default=None, primary_key=True)
    account_id: int = Field(foreign_key="account.id", index=True)
    url: str = Field(max_length=1000)
    channel: str = Field(max_length=16)
    shown: str = Field(max_length=300)
    least: str = Field(default="high", max_length=8)
    trusted: bool = False
    created_at: datetime
    removed_at: datetime | None = None


class Notice(SQLModel, table=True):
    """One message on one occasion to one address: the outbox, and the log of what was sent.

    ``id`` is made of alarm, address and number, so that the same one cannot come to be twice.
    ``alarm_id`` is None for a test. ``told_drums`` and ``told_deadline`` are what it said.
    """

    id: str = Field(max_length=80, primary_key=True)
    alarm_id: str | None = Field(default=None, foreign_key="alarm.id", max_length=32, index=True)
    address_id: int = Field(foreign_key="notice_address.id", index=True)
    occasion: str = Field(max_length=8)
    number: int
    state: str = Field(max_length=8, index=True)
    priority: str = Field(max_length=8)
    queued_at: datetime = Field(index=True)
    due_at: datetime
    tries: int = 0
    claimed_at: datetime | None = None
    ended_at: datetime | None = None
    reason: str = Field(default="", max_length=200)
    text: str = Field(default="", max_length=1000)
    told_drums: list[str] = Field(default_factory=list, sa_type=JSON)
    told_deadline: datetime | None = None
