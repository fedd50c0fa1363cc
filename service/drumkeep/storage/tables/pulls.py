"""Pull lists: the drums that a crew takes along."""

from datetime import datetime
from uuid import UUID

from sqlmodel import Field, SQLModel


class Pull(SQLModel, table=True):
    """What was asked for; open until it is closed, as ``done`` or ``dropped``.

    ``wanted_at`` None: wanted at once. ``iso_id`` and ``resin_id`` are the products of the two
    sides.
    """

    id: int = Field(default=None, primary_key=True)
    client_id: UUID = Field(unique=True)
    site_id: int = Field(foreign_key="site.id", index=True)
    iso_id: int = Field(foreign_key="product.id")
    resin_id: int = Field(foreign_key="product.id")
    output: str = Field(max_length=16)
    sets: int
    wanted_at: datetime | None = None
    made_at: datetime
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
    closed_at: datetime | None = Field(default=None, index=True)
    closed_by: str | None = Field(default=None, max_length=120)
    closed_as: str | None = Field(default=None, max_length=8)


class PullDrum(SQLModel, table=True):
    """A drum of a list; ``left_at`` when another took its place, ``taken_at`` when ticked off."""

    __tablename__ = "pull_drum"

    id: int = Field(default=None, primary_key=True)
    pull_id: int = Field(foreign_key="pull.id", index=True)
    drum_id: int = Field(foreign_key="drum.id", index=True)
    picked_at: datetime
    taken_at: datetime | None = None
    taken_by: str | None = Field(default=None, max_length=120)
    left_at: datetime | None = None
    left_by: str | None = Field(default=None, max_length=120)
