"""Readings of sensors that nobody has registered, kept aside until somebody does."""

from datetime import datetime
from typing import Final

from sqlalchemy import BigInteger, Column, Float, Integer, PrimaryKeyConstraint, Table
from sqlmodel import Field, SQLModel


class Stray(SQLModel, table=True):
    """A name that was heard and is not registered; ``heard`` counts its readings, kept or not."""

    id: int = Field(default=None, primary_key=True)
    name: str = Field(max_length=160, unique=True)
    quantity: str = Field(max_length=16)
    gateway_id: int | None = Field(default=None, foreign_key="gateway.id", index=True)
    first_heard_at: datetime
    last_heard_at: datetime
    heard: int = 0


stray_reading: Final = Table(
    "stray_reading",
    SQLModel.metadata,
    Column("stray_id", Integer, nullable=False),
    Column("ts", BigInteger, nullable=False),
    Column("value", Float(53), nullable=False),
    PrimaryKeyConstraint("stray_id", "ts"),
    sqlite_with_rowid=False,
)
"""As in ``reading``; the first value of a time stays."""
