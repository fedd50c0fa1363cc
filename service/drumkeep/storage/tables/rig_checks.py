"""Looks at the parts of a rig that want one every week."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import Index
from sqlmodel import Field, SQLModel

from drumkeep.storage.keys import APPEND_ONLY


class RigCheck(SQLModel, table=True):
    """What one look at one part of a rig (a place) found; ``pressure_kpa`` as its gauge said."""

    __tablename__ = "rig_check"
    __table_args__ = (Index(None, "place_id", "part", "at"), {"info": {APPEND_ONLY: True}})

    seq: int = Field(default=None, primary_key=True)
    id: UUID = Field(unique=True)
    place_id: int = Field(foreign_key="place.id")
    part: str = Field(max_length=16)
    finding: str = Field(max_length=8)
    pressure_kpa: float | None = None
    note: str | None = Field(default=None, max_length=500)
    at: datetime
    recorded_at: datetime
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
