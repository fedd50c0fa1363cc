"""What was computed of each drum: where it stands now, and checkpoints on the way there."""

from datetime import datetime
from typing import Any

from sqlmodel import JSON, Field, LargeBinary, SQLModel


class Estimate(SQLModel, table=True):
    """The state of a drum as last computed; °C, kPa, times UTC."""

    drum_id: int = Field(foreign_key="drum.id", primary_key=True)
    step: int
    state: bytes = Field(sa_type=LargeBinary)
    computed_at: datetime
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


class Checkpoint(SQLModel, table=True):
    """A drum's record just before the events of a grid step."""

    drum_id: int = Field(foreign_key="drum.id", primary_key=True)
    step: int = Field(primary_key=True)
    state: bytes = Field(sa_type=LargeBinary)
