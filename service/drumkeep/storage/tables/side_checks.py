"""What was answered when somebody asked whether two drums may be hooked up together."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlmodel import JSON, Field, SQLModel

from drumkeep.storage.keys import APPEND_ONLY


class SideCheck(SQLModel, table=True):
    """One check as it was answered; triggers of the database refuse to change or delete it.

    ``told`` is the answer in full as it was shown: sentences with marks, and both drums as they
    were then.
    """

    __tablename__ = "side_check"
    __table_args__ = ({"info": {APPEND_ONLY: True}},)

    id: int = Field(default=None, primary_key=True)
    client_id: UUID = Field(unique=True)
    at: datetime = Field(index=True)
    first_id: int = Field(foreign_key="drum.id", index=True)
    second_id: int = Field(foreign_key="drum.id", index=True)
    pull_id: int | None = Field(default=None, foreign_key="pull.id", index=True)
    place_id: int | None = Field(default=None, foreign_key="place.id", index=True)
    answer: str = Field(max_length=16, index=True)
    told: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
