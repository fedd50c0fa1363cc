"""What was computed of each drum: where it stands now, and checkpoints on the way there."""

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger
from sqlmodel import JSON, Field, LargeBinary, SQLModel


class Estimate(SQLModel, table=True):
    """The state of a drum as last computed; °C, kPa, times UTC.

    ``fault`` says why it could not be computed; nothing is then said of its liquid.
    """

    drum_id: int = Field(foreign_key="drum.id", primary_key=True)
    step: int
    state: bytes = Field(sa_type=LargeBinary)
    computed_at: datetime = Field(index=True)
    supported_to: datetime | None = None
    basis: str | None = Field(default=None, max_length=12)
    bottom_c: float | None = None
    bottom_low_c: float | None = None
    bottom_high_c: float | None = None
    mean_c: float | None = None
    mean_low_c: float | None = None
    mean_high_c: float | None = None
    top_c: float | None = None
    low_c: float | None = None
    high_c: float | None = None
    pressure_kpa: float | None = None
    pressure_low_kpa: float | None = None
    pressure_high_kpa: float | None = None
    dew_c: float | None = None
    dew_margin_k: float | None = None
    humidity: float | None = None
    humidity_assumed: bool | None = None
    was_cold_c: float | None = None
    was_cold_hours: float | None = None
    conditions: list[str] = Field(default_factory=list, sa_type=JSON)
    verdicts: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    readiness: str = Field(max_length=8, index=True)
    ready_at: datetime | None = None
    outlook: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
    fault: str | None = Field(default=None, max_length=300)


class Checkpoint(SQLModel, table=True):
    """A drum's record just before the events of a grid step."""

    drum_id: int = Field(foreign_key="drum.id", primary_key=True)
    step: int = Field(primary_key=True)
    state: bytes = Field(sa_type=LargeBinary)


class Glance(SQLModel, table=True):
    """What a list tells of a present drum for one output class; made with its estimate.

    Short rows beside the long ones, so that the floor can count and sort ten thousand drums.
    ``gravity`` is the place of the worst about it in ``domain.glances.GRAVITY``, ``turn`` that of
    its readiness in the order of use; ``conditions`` are joined by commas; times are epoch ms UTC,
    ``soonest_in`` the warm room if it is there that it will be ready soonest. ``ends_ms`` is when
    its shelf life ends, with what heat took off.
    """

    drum_id: int = Field(foreign_key="drum.id", primary_key=True)
    output: str = Field(max_length=16, primary_key=True)
    state: str = Field(max_length=8)
    answer: str = Field(max_length=12)
    gravity: int
    turn: int
    fill: float
    too_hot: bool
    conditions: str = Field(max_length=120)
    basis: str | None = Field(default=None, max_length=12)
    bottom_c: float | None = None
    mean_c: float | None = None
    low_c: float | None = None
    high_c: float | None = None
    soonest_ms: int | None = Field(default=None, sa_type=BigInteger)
    soonest_in: str | None = Field(default=None, max_length=200)
    ends_ms: int | None = Field(default=None, sa_type=BigInteger)
    computed_ms: int = Field(sa_type=BigInteger)
    step: int


class ShelfAir(SQLModel, table=True):
    """What the floor tells of the air of a place as of a grid step; made with its drums' estimates.

    ``told`` is ``operations.shelf_air.ShelfAir`` as JSON.
    """

    __tablename__ = "shelf_air"

    place_id: int = Field(foreign_key="place.id", primary_key=True)
    step: int
    told: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
