"""Counts of what stands in a place, and how they differ from the records."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import UniqueConstraint
from sqlmodel import Field, SQLModel


class Count(SQLModel, table=True):
    """Somebody goes through one place; open until it is finished, and then a record."""

    __tablename__ = "stock_count"

    id: int = Field(default=None, primary_key=True)
    client_id: UUID = Field(unique=True)
    place_id: int = Field(foreign_key="place.id", index=True)
    begun_at: datetime
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
    finished_at: datetime | None = Field(default=None, index=True)
    finished_by: str | None = Field(default=None, max_length=120)


class CountSeen(SQLModel, table=True):
    """A tag that was seen there; ``drum_id`` None where no drum bears it."""

    __tablename__ = "stock_count_seen"
    __table_args__ = (UniqueConstraint("count_id", "tag"),)

    id: int = Field(default=None, primary_key=True)
    count_id: int = Field(foreign_key="stock_count.id")
    tag: str = Field(max_length=7)
    drum_id: int | None = Field(default=None, foreign_key="drum.id")
    at: datetime
    by: str = Field(max_length=120)


class CountDifference(SQLModel, table=True):
    """A difference as it was when the count was finished, and how a person mended it since.

    ``recorded_id`` is the place where the records had the drum; ``event_id`` the event by which it
    was mended, if by one.
    """

    __tablename__ = "stock_count_difference"
    __table_args__ = (UniqueConstraint("count_id", "tag"),)

    id: int = Field(default=None, primary_key=True)
    count_id: int = Field(foreign_key="stock_count.id")
    kind: str = Field(max_length=16)
    tag: str = Field(max_length=7)
    drum_id: int | None = Field(default=None, foreign_key="drum.id")
    recorded_id: int | None = Field(default=None, foreign_key="place.id")
    mend: str | None = Field(default=None, max_length=16)
    mended_at: datetime | None = None
    mended_by: str | None = Field(default=None, max_length=120)
    event_id: UUID | None = None
