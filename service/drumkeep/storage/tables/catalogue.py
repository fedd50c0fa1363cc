"""What there is: sites and their places, products and their lots, gateways and their sensors."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import CheckConstraint, Index, UniqueConstraint, false
from sqlmodel import JSON, Field, SQLModel


class Site(SQLModel, table=True):
    """One address."""

    id: int = Field(default=None, primary_key=True)
    code: str = Field(max_length=40, unique=True)
    name: str = Field(max_length=120)
    timezone: str = Field(max_length=64)
    altitude_m: float = 0.0
    output_class: str = Field(default="from_20", max_length=16)


class Place(SQLModel, table=True):
    """Where a drum can be, at a site; may sit in another place."""

    __table_args__ = (UniqueConstraint("site_id", "code"),)

    id: int = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="site.id")
    code: str = Field(max_length=40)
    name: str = Field(max_length=120)
    kind: str = Field(max_length=16)
    inside_id: int | None = Field(default=None, foreign_key="place.id", index=True)
    motion: str = Field(max_length=16)
    standing: str = Field(max_length=16)
    wind_m_s: float | None = None
    crowding: str = Field(
        default="alone", max_length=16, sa_column_kwargs={"server_default": "alone"}
    )
    sun: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    absorptance: float | None = None
    set_point_c: float | None = None
    capacity: int | None = None


class Product(SQLModel, table=True):
    """What a lot is a lot of; ``properties`` and ``limits`` hold only what differs by side.

    ``system`` names what its A and its B have in common: only those of one system make a set.
    """

    id: int = Field(default=None, primary_key=True)
    code: str = Field(max_length=40, unique=True)
    name: str = Field(max_length=120)
    side: str = Field(max_length=8)
    cell: str | None = Field(default=None, max_length=8)
    system: str | None = Field(default=None, max_length=40)
    properties: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    limits: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    origins: dict[str, str] = Field(default_factory=dict, sa_type=JSON)


class Lot(SQLModel, table=True):
    """What the maker made in one go."""

    __table_args__ = (UniqueConstraint("product_id", "code"),)

    id: int = Field(default=None, primary_key=True)
    product_id: int = Field(foreign_key="product.id")
    code: str = Field(max_length=40)
    made_on: date
    expires_on: date | None = None


class Gateway(SQLModel, table=True):
    """What publishes readings; ``online`` as its presence says, ``last_seen_at`` as we heard it.

    ``clock_ahead_s`` is of the time it sent that was refused last, at ``clock_off_at``; it has sent
    such times since ``clock_off_since``.
    """

    __table_args__ = (UniqueConstraint("site_id", "code"),)

    id: int = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="site.id")
    code: str = Field(max_length=40)
    urn: str = Field(max_length=120, unique=True)
    online: bool = False
    presence_at: datetime | None = None
    last_seen_at: datetime | None = None
    clock_ahead_s: float | None = None
    clock_off_since: datetime | None = None
    clock_off_at: datetime | None = None


class Sensor(SQLModel, table=True):
    """One measured quantity, known by its SenML name."""

    id: int = Field(default=None, primary_key=True)
    name: str = Field(max_length=160, unique=True)
    gateway_id: int | None = Field(default=None, foreign_key="gateway.id", index=True)
    quantity: str = Field(max_length=16)
    unit: str = Field(max_length=8)
    interval_s: float
    error_k: float = 0.5


class Calibration(SQLModel, table=True):
    """From ``since`` on, true value = gain x raw value + offset; before the first: as it came."""

    sensor_id: int = Field(foreign_key="sensor.id", primary_key=True)
    since: datetime = Field(primary_key=True)
    gain: float = 1.0
    offset: float = 0.0


class Mount(SQLModel, table=True):
    """What a sensor measures, where, from when till when; ``until`` is exclusive.

    ``height_m`` is above the bottom of a drum's liquid; mid-depth where none is given.
    """

    __table_args__ = (
        CheckConstraint("(place_id IS NULL) <> (drum_id IS NULL)", name="place_or_drum"),
        Index(None, "sensor_id", "since"),
    )

    id: int = Field(default=None, primary_key=True)
    sensor_id: int = Field(foreign_key="sensor.id")
    what: str = Field(max_length=16)
    place_id: int | None = Field(default=None, foreign_key="place.id", index=True)
    drum_id: int | None = Field(default=None, foreign_key="drum.id", index=True)
    since: datetime
    until: datetime | None = None
    height_m: float | None = None
