"""What a sample message would become, as the page shows it."""

from dataclasses import dataclass
from datetime import datetime

from drumkeep.domain.grid import from_ms
from drumkeep.domain.readings import Rejection
from drumkeep.domain.sensors import UNITS
from drumkeep.operations.foreign import ForeignReadings
from drumkeep.operations.sparkplug_metrics import Metrics
from drumkeep.web.formats import Formats
from drumkeep.web.views.strays import reading_words


@dataclass(frozen=True, slots=True)
class TriedView:
    """One reading that the sample would become; ``stored`` is the figure that would be kept."""

    name: str
    value: str
    stored: str
    at: datetime


@dataclass(frozen=True, slots=True)
class TrialView:
    """All that a sample would become, and what would be refused."""

    readings: tuple[TriedView, ...]
    rejections: tuple[Rejection, ...]


def trial_view(found: ForeignReadings | Metrics, *, formats: Formats) -> TrialView:
    """Return what was found in a sample in the person's units."""
    readings = []
    for one in found.readings:
        told = reading_words(one.value, one.quantity, formats=formats)
        stored = f"{one.value:.6g} {UNITS[one.quantity]}"
        readings.append(TriedView(one.sensor_name, told, stored, from_ms(one.ts_ms)))
    return TrialView(tuple(readings), found.rejections)
