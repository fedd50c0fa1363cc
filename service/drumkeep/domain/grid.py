"""The five-minute UTC grid on which every drum is advanced.

Late and timely data give the same state because steps lie on this grid and nowhere else.
"""

from datetime import UTC, datetime
from typing import Final

STEP_SECONDS: Final = 300
STEP_MS: Final = STEP_SECONDS * 1000
STEPS_PER_HOUR: Final = 3600 // STEP_SECONDS
STEP_HOURS: Final = STEP_SECONDS / 3600.0


def step_at(moment: datetime) -> int:
    """Grid step at or before a moment."""
    return step_at_ms(to_ms(moment))


def step_at_ms(ms: int) -> int:
    """Grid step at or before a time in epoch milliseconds."""
    return ms // STEP_MS


def moment_of(step: int) -> datetime:
    """Time of a grid step, UTC."""
    return datetime.fromtimestamp(step * STEP_SECONDS, tz=UTC)


def to_ms(moment: datetime) -> int:
    """Epoch milliseconds of an aware moment."""
    return round(moment.timestamp() * 1000)


def from_ms(ms: int) -> datetime:
    """Aware UTC moment of epoch milliseconds."""
    return datetime.fromtimestamp(ms / 1000, tz=UTC)
