"""What people and programs changed: written with the change, and never changed itself."""

from datetime import datetime

from sqlalchemy import Index, Text
from sqlmodel import Field, SQLModel

from drumkeep.storage.keys import APPEND_ONLY, BIG


class AuditEntry(SQLModel, table=True):
    """What one doer did to one thing; triggers of the database refuse to change or delete it.

    ``deed`` is the same for all that was done in one go. ``changes`` is JSON: the rows that were
    made, changed or removed, and their fields before and after, without secrets.
    """

    __tablename__ = "audit_entry"
    __table_args__ = (
        Index(None, "at"),
        Index(None, "actor", "id"),
        Index(None, "object", "id"),
        {"info": {APPEND_ONLY: True}},
    )

    id: int = Field(default=None, primary_key=True, sa_type=BIG)
    at: datetime
    deed: str = Field(max_length=32)
    actor: str = Field(max_length=120)
    role: str = Field(max_length=16)
    way: str = Field(max_length=8)
    account_id: int | None = Field(default=None, foreign_key="account.id")
    token_id: int | None = Field(default=None, foreign_key="token.id")
    session: str | None = Field(default=None, max_length=16)
    device: str = Field(max_length=200)
    address: str = Field(max_length=64)
    did: str = Field(max_length=64)
    kind: str = Field(max_length=40)
    object: str = Field(max_length=200)
    changes: str = Field(sa_type=Text)
