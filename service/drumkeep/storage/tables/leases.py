"""Who runs what there must be one of."""

from datetime import datetime

from sqlmodel import Field, SQLModel


class Lease(SQLModel, table=True):
    """The right to be the one runner of something until a time; held without a break ``since``."""

    name: str = Field(max_length=40, primary_key=True)
    holder: str = Field(max_length=80)
    since: datetime
    until: datetime
