"""Labels that were printed."""

from datetime import datetime

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel

from drumkeep.storage.keys import BIG


class LabelPrint(SQLModel, table=True):
    """One label that was printed, of a drum or of a place; never changed, never deleted.

    ``copy_number`` counts from 1; what is more is a reprint.
    """

    __tablename__ = "label_print"
    __table_args__ = (
        CheckConstraint("(place_id IS NULL) <> (drum_id IS NULL)", name="place_or_drum"),
    )

    id: int = Field(default=None, primary_key=True, sa_type=BIG)
    drum_id: int | None = Field(default=None, foreign_key="drum.id", index=True)
    place_id: int | None = Field(default=None, foreign_key="place.id", index=True)
    copy_number: int
    size: str = Field(max_length=40)
    at: datetime
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
