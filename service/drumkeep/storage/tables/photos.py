"""Photos of drums, deliveries and claims."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import CheckConstraint
from sqlmodel import Field, LargeBinary, SQLModel


class Photo(SQLModel, table=True):
    """A photo of one drum, of a delivery, or of a claim; ``shows`` is a ``domain.photos.Shows``.

    ``key`` follows from what it is of and from the file, so that one sent twice is one photo.
    ``source_sha256`` is of the file as it came, ``sha256`` and ``size`` of the JPEG that is kept;
    ``taken`` is what the camera's clock said, in nobody knows which zone.
    """

    __table_args__ = (
        CheckConstraint(
            "COALESCE(drum_id, delivery_id, claim_id) IS NOT NULL", name="of_something"
        ),
    )

    id: int = Field(default=None, primary_key=True)
    key: UUID = Field(unique=True)
    drum_id: int | None = Field(default=None, foreign_key="drum.id", index=True)
    delivery_id: int | None = Field(default=None, foreign_key="delivery.id", index=True)
    claim_id: int | None = Field(default=None, foreign_key="claim.id", index=True)
    event_id: UUID | None = None
    shows: str = Field(max_length=8)
    note: str = Field(default="", max_length=500)
    at: datetime
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
    taken: str | None = Field(default=None, max_length=19)
    source_sha256: str = Field(max_length=64)
    sha256: str = Field(max_length=64)
    size: int
    wide: int
    tall: int


class PhotoContent(SQLModel, table=True):
    """A photo itself, apart from what lists need of it; ``whole`` is None once it was thinned."""

    __tablename__ = "photo_content"
    # Half a megabyte each: the store is moved a few at a time.
    __table_args__ = {"info": {"rows_at_once": 20}}

    photo_id: int = Field(foreign_key="photo.id", primary_key=True)
    small: bytes = Field(sa_type=LargeBinary)
    whole: bytes | None = Field(default=None, sa_type=LargeBinary)
