"""Who runs what there must be one of."""

from datetime import datetime

from sqlmodel import Field, SQLModel


class Lease(SQLModel, table=True):
    """The right to be the one runner of something until a time.

    ``resumed_at`` is when somebody took it after nobody had held it; None since the first holder.
    """

    name: str = Field(max_length=40, primary_key=True)
    holder: str = Field(max_length=80)
    until: datetime
    resumed_at: datetime | None = None
