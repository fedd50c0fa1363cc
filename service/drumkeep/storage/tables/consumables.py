"""What rigs and sheds use up beside the drums: nitrogen, desiccant, pump lubricant and the like."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import UniqueConstraint
from sqlmodel import Field, SQLModel

from drumkeep.storage.keys import APPEND_ONLY


class Consumable(SQLModel, table=True):
    """One thing that is kept in one place; ``minimum`` is what should not be gone under."""

    __table_args__ = (UniqueConstraint("place_id", "name"),)

    id: int = Field(default=None, primary_key=True)
    place_id: int = Field(foreign_key="place.id")
    kind: str = Field(max_length=16)
    name: str = Field(max_length=120)
    unit: str = Field(max_length=16)
    minimum: float | None = None
    dropped_at: datetime | None = None


class ConsumableEntry(SQLModel, table=True):
    """Somebody took, added or counted; ``in_hand`` is what was there after it."""

    __tablename__ = "consumable_entry"
    __table_args__ = {"info": {APPEND_ONLY: True}}

    seq: int = Field(default=None, primary_key=True)
    id: UUID = Field(unique=True)
    consumable_id: int = Field(foreign_key="consumable.id", index=True)
    deed: str = Field(max_length=8)
    quantity: float
    in_hand: float
    at: datetime
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
    note: str | None = Field(default=None, max_length=500)
