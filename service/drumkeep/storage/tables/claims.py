"""Claims on suppliers: a record that is frozen when it is made, and what became of it."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlmodel import JSON, Field, SQLModel

from drumkeep.storage.keys import APPEND_ONLY


class Claim(SQLModel, table=True):
    """What was found in drums as they came; never changed, never deleted.

    ``key`` is the client's UUID, ``checksum`` the SHA-256 of the record's canonical JSON
    (``domain.claims.checksum``).
    """

    # A record of many drums holds some thousand figures: few of them at a time are moved.
    __table_args__ = {"info": {APPEND_ONLY: True, "rows_at_once": 50}}

    id: int = Field(default=None, primary_key=True)
    key: UUID = Field(unique=True)
    lot_id: int = Field(foreign_key="lot.id", index=True)
    at: datetime
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
    record: dict[str, Any] = Field(sa_type=JSON)
    checksum: str = Field(max_length=64)


class ClaimDrum(SQLModel, table=True):
    """A drum of a claim: the readings of where it was are kept whole while the claim is open."""

    __tablename__ = "claim_drum"

    drum_id: int = Field(foreign_key="drum.id", primary_key=True)
    claim_id: int = Field(foreign_key="claim.id", index=True)


class ClaimPhoto(SQLModel, table=True):
    """A photo that a claim rests on; it is kept whole for ever."""

    __tablename__ = "claim_photo"

    claim_id: int = Field(foreign_key="claim.id", primary_key=True)
    photo_id: int = Field(foreign_key="photo.id", primary_key=True, index=True)


class ClaimNote(SQLModel, table=True):
    """What became of a claim: a new state, words, or both; never changed, never deleted."""

    __tablename__ = "claim_note"
    __table_args__ = {"info": {APPEND_ONLY: True}}

    id: int = Field(default=None, primary_key=True)
    key: UUID = Field(unique=True)
    claim_id: int = Field(foreign_key="claim.id", index=True)
    at: datetime
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
    state: str | None = Field(default=None, max_length=8)
    text: str = Field(default="", max_length=2000)
