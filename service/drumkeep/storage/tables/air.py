"""Air to come: forecasts of the outdoor air as uploaded, and what places have taught of theirs."""

from datetime import datetime
from typing import Any

from sqlalchemy import UniqueConstraint
from sqlmodel import JSON, Field, SQLModel


class AirForecast(SQLModel, table=True):
    """A forecast of a site's outdoor air; ``points`` are pairs of epoch seconds and °C."""

    __table_args__ = (UniqueConstraint("site_id", "issued_at"),)

    id: int = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="site.id")
    issued_at: datetime
    received_at: datetime
    by: str = Field(max_length=120)
    points: list[list[float]] = Field(default_factory=list, sa_type=JSON)


class AirLesson(SQLModel, table=True):
    """What a place's past taught (``domain.air_habits.AirHabit``), under its set point since."""

    place_id: int = Field(foreign_key="place.id", primary_key=True)
    learned_at: datetime
    set_point_c: float | None = None
    set_point_since: datetime
    habit: dict[str, Any] = Field(default_factory=dict, sa_type=JSON)
