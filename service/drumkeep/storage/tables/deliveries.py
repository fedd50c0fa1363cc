"""Drums that came in one go, and what their supplier's label said."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlmodel import JSON, Field, SQLModel


class Delivery(SQLModel, table=True):
    """Drums that are alike and came together; ``key`` is the client's UUID.

    ``label`` is what was scanned or typed (``text``) and what it says, as
    ``operations.deliveries.label_record`` writes it; empty where nothing was scanned.
    """

    id: int = Field(default=None, primary_key=True)
    key: UUID = Field(unique=True)
    lot_id: int = Field(foreign_key="lot.id", index=True)
    at: datetime
    recorded_at: datetime
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
    label: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)


class DeliveryDrum(SQLModel, table=True):
    """A drum of a delivery."""

    __tablename__ = "delivery_drum"

    drum_id: int = Field(foreign_key="drum.id", primary_key=True)
    delivery_id: int = Field(foreign_key="delivery.id", index=True)
