"""What was measured of drums, and what the computation made of it."""

from uuid import UUID

from sqlalchemy import Index
from sqlmodel import Field, SQLModel

from drumkeep.storage.keys import BIG


class Measurement(SQLModel, table=True):
    """One reading in or on a drum as it was met; °C and K.

    Written with the drum's state and made anew with it. ``event_id`` is that of the dip or skin
    reading, ``sensor_id`` that of the strap. ``computed_c`` and ``after_c`` are of the very thing
    that was measured; ``expected_k`` is the standard deviation of the innovation.
    """

    __table_args__ = (Index(None, "drum_id", "step"),)

    id: int = Field(default=None, primary_key=True, sa_type=BIG)
    drum_id: int = Field(foreign_key="drum.id")
    step: int
    event_id: UUID | None = Field(default=None, index=True)
    sensor_id: int | None = Field(default=None, foreign_key="sensor.id")
    on_wall: bool
    height_m: float | None = None
    measured_c: float
    computed_c: float | None = None
    after_c: float | None = None
    innovation_k: float | None = None
    expected_k: float | None = None
    sigma_k: float
    use: str = Field(max_length=12)
