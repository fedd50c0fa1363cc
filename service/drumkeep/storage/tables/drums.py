"""Drums and what happened to them."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import BigInteger, Index
from sqlmodel import JSON, Field, SQLModel


class Drum(SQLModel, table=True):
    """A drum; everything but tag and lot is a projection of its events.

    ``revision`` grows with each event, so that a computation that began before one is not stored
    over it. ``from_ms`` is set while the drum must be computed again from that time on.
    """

    id: int = Field(default=None, primary_key=True)
    tag: str = Field(max_length=7, unique=True)
    lot_id: int = Field(foreign_key="lot.id", index=True)
    created_at: datetime
    revision: int = 0
    from_ms: int | None = Field(default=None, sa_type=BigInteger, index=True)
    share: float = 1.0
    tare_kg: float
    place_id: int = Field(foreign_key="place.id", index=True)
    received_at: datetime
    net_kg: float
    un_mark: str | None = Field(default=None, max_length=80)
    ended: str | None = Field(default=None, max_length=8)
    wanted_at: datetime | None = None
    wanted_output: str | None = Field(default=None, max_length=16)


class Event(SQLModel, table=True):
    """One thing that happened to a drum; never changed, never deleted."""

    __tablename__ = "drum_event"
    __table_args__ = (Index(None, "drum_id", "at"),)

    seq: int = Field(default=None, primary_key=True)
    id: UUID = Field(unique=True)
    drum_id: int = Field(foreign_key="drum.id")
    kind: str = Field(max_length=16)
    at: datetime
    recorded_at: datetime
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
    data: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    note: str | None = Field(default=None, max_length=2000)


class Pour(SQLModel, table=True):
    """Liquid of one drum that was poured into another and when, from the events of ``drum_id``."""

    id: int = Field(default=None, primary_key=True)
    drum_id: int = Field(foreign_key="drum.id", index=True)
    donor_id: int = Field(foreign_key="drum.id")
    at: datetime = Field(index=True)


class Stay(SQLModel, table=True):
    """Where a drum was and when, from its events; ``origin`` marks air that set its start."""

    __table_args__ = (Index(None, "place_id", "until"),)

    id: int = Field(default=None, primary_key=True)
    drum_id: int = Field(foreign_key="drum.id", index=True)
    place_id: int = Field(foreign_key="place.id")
    since: datetime
    until: datetime | None = None
    origin: bool = False
