"""By what factor the films of places differ from those that their motion and standing name."""

from datetime import datetime

from sqlmodel import Field, SQLModel


class PlaceFilm(SQLModel, table=True):
    """From ``since`` on these hold, until the next row of the place; never changed, never deleted.

    ``half_range`` is a factor either way (90 %), ``dips`` how many dips it rests on. Of dips before
    the last reset nothing more is learned.
    """

    __tablename__ = "place_film"

    id: int = Field(default=None, primary_key=True)
    place_id: int = Field(foreign_key="place.id", index=True)
    since: datetime
    factor: float
    half_range: float
    dips: int = 0
    source: str = Field(max_length=8)
    by: str | None = Field(default=None, max_length=120)
    recorded_at: datetime
