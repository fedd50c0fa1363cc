"""Readings and what is kept about them: the latest, what was refused, and what is confirmed."""

from datetime import datetime
from typing import Final

from sqlalchemy import BigInteger, Column, Float, Integer, PrimaryKeyConstraint, Table
from sqlmodel import JSON, Field, LargeBinary, SQLModel

from drumkeep.storage.keys import BIG

reading: Final = Table(
    "reading",
    SQLModel.metadata,
    # The hour comes first so that new rows fall together: keyed by sensor first, each batch would
    # touch one page per sensor, and the rate of inserts falls to a tenth with 20 million rows.
    Column("hour", Integer, nullable=False),
    # No foreign key: it would be looked up for each row, and the only writer has just done so.
    Column("sensor_id", Integer, nullable=False),
    Column("ts", BigInteger, nullable=False),
    Column("value", Float(53), nullable=False),
    PrimaryKeyConstraint("hour", "sensor_id", "ts"),
    sqlite_with_rowid=False,
    # By month, so that a month goes at once: ``storage.partitions``.
    postgresql_partition_by="RANGE (hour)",
)
"""A value as the sensor gave it; ``ts`` in epoch ms UTC, ``hour`` from it."""

latest: Final = Table(
    "latest",
    SQLModel.metadata,
    Column("sensor_id", Integer, primary_key=True, autoincrement=False),
    Column("ts", BigInteger, nullable=False),
    Column("value", Float(53), nullable=False),
    Column("received_at", BigInteger, nullable=False),
    Column("first_ts", BigInteger, nullable=False),
)
"""A sensor's newest reading, when it arrived, and the time of its oldest; epoch ms UTC."""

rollup_1h: Final = Table(
    "rollup_1h",
    SQLModel.metadata,
    Column("hour", Integer, nullable=False),
    Column("sensor_id", Integer, nullable=False),
    Column("n", Integer, nullable=False),
    Column("low", Float(53), nullable=False),
    Column("high", Float(53), nullable=False),
    Column("total", Float(53), nullable=False),
    PrimaryKeyConstraint("hour", "sensor_id"),
    sqlite_with_rowid=False,
)
"""Of all readings of an hour: how many, lowest, highest, sum; as the sensor gave them."""

rollup_dirty: Final = Table(
    "rollup_dirty",
    SQLModel.metadata,
    Column("hour", Integer, primary_key=True, autoincrement=False),
)
"""Hours that got a reading since their figures were made."""

rollup_15m: Final = Table(
    "rollup_15m",
    SQLModel.metadata,
    Column("hour", Integer, nullable=False),
    Column("sensor_id", Integer, nullable=False),
    Column("quarter", Integer, nullable=False),
    Column("n", Integer, nullable=False),
    Column("low", Float(53), nullable=False),
    Column("high", Float(53), nullable=False),
    Column("total", Float(53), nullable=False),
    PrimaryKeyConstraint("hour", "sensor_id", "quarter"),
    sqlite_with_rowid=False,
)
"""The same of a quarter of an hour (number since 1970) whose readings were thinned to one."""


class Reject(SQLModel, table=True):
    """What could not be stored and why; one row per pack, reason and found value.

    ``records`` is how many records of the pack it holds for, ``times`` how often the same pack came
    again (a gateway repeats what is not confirmed), ``payload`` the first octets of the pack.
    """

    id: int | None = Field(default=None, primary_key=True, sa_type=BIG)
    key: str = Field(max_length=64, unique=True)
    received_at: datetime
    source: str = Field(max_length=400)
    record: int | None = None
    field: str = Field(max_length=200)
    value: str = Field(max_length=200)
    problem: str = Field(max_length=400)
    mend: str = Field(max_length=400)
    records: int = 1
    times: int = 1
    size: int
    payload: bytes = Field(sa_type=LargeBinary)


class SpoolMark(SQLModel, table=True):
    """Up to which pack of a spool file everything is stored, and which later ones are."""

    __tablename__ = "spool_mark"

    gateway_id: int = Field(foreign_key="gateway.id", primary_key=True)
    spool: str = Field(max_length=8, primary_key=True)
    upto: int = Field(sa_type=BigInteger)
    beyond: list[int] = Field(default_factory=list, sa_type=JSON)
    changed_at: datetime


class PlaceMark(SQLModel, table=True):
    """From when on the drums of a place must be computed again; ``from_ms`` is None when done.

    ``seq`` grows with every mark set, so that whoever computed knows whether another came since.
    """

    __tablename__ = "place_mark"

    place_id: int = Field(foreign_key="place.id", primary_key=True)
    from_ms: int | None = Field(default=None, sa_type=BigInteger)
    seq: int = 0
