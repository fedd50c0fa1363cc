"""Alarms by cause, and every change of each."""

from datetime import datetime
from typing import Any

from sqlmodel import JSON, Field, SQLModel


class Alarm(SQLModel, table=True):
    """One occurrence of one cause; never deleted, amended when the past is corrected.

    ``cause`` is unique while the occurrence is open (``open_cause``). ``drums`` are tags;
    ``details`` carries the figures that its message was made of.
    """

    id: str = Field(max_length=32, primary_key=True)
    kind: str = Field(max_length=24, index=True)
    cause: str = Field(max_length=160, index=True)
    open_cause: str | None = Field(default=None, max_length=160, unique=True)
    site_id: int = Field(foreign_key="site.id", index=True)
    place_id: int | None = Field(default=None, foreign_key="place.id")
    state: str = Field(max_length=24, index=True)
    priority: str = Field(max_length=8)
    audience: list[str] = Field(default_factory=list, sa_type=JSON)
    message: str = Field(max_length=2000)
    drums: list[str] = Field(default_factory=list, sa_type=JSON)
    details: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    deadline: datetime | None = None
    raised_at: datetime
    changed_at: datetime
    acknowledged_at: datetime | None = None
    acknowledged_by: str | None = Field(default=None, max_length=120)
    returned_at: datetime | None = None
    shelved_until: datetime | None = None
    published: bool = Field(default=False, index=True)


class AlarmEntry(SQLModel, table=True):
    """One change of an alarm, in words."""

    __tablename__ = "alarm_entry"

    id: int = Field(default=None, primary_key=True)
    alarm_id: str = Field(foreign_key="alarm.id", index=True)
    at: datetime
    state: str = Field(max_length=24)
    words: str = Field(max_length=2000)
    by: str | None = Field(default=None, max_length=120)
