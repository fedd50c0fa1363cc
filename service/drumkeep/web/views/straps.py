"""Sensors on a drum: what each last said, and what the computation made of it."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from drumkeep.domain.grid import moment_of, step_at
from drumkeep.domain.sensors import What
from drumkeep.domain.straps import STRAP_STEPS
from drumkeep.storage import catalogue, ground, measurements
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.views.events import met_words

_DAY_STEPS: Final = 24 * STRAP_STEPS


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapView:
    """A sensor on a drum: what was made of its last reading that counts, and when."""

    sensor: str
    on_wall: bool
    met: str = ""
    at: datetime | None = None


def strap_views(tx: Tx, *, drum: Drum, formats: Formats) -> tuple[StrapView, ...]:
    """Return the sensors that hang on a drum now."""
    mounts = [m for m in ground.drum_mounts(tx, drum_ids=[drum.id]) if m.until is None]
    if not mounts:
        return ()
    last = step_at(formats.now)
    newest = {
        row.sensor_id: row
        for row in measurements.by_straps(tx, drum_id=drum.id, first=last - _DAY_STEPS, last=last)
    }
    sensors = catalogue.sensors_by_id(tx, ids=[mount.sensor_id for mount in mounts])
    return tuple(
        StrapView(
            sensor=sensors[mount.sensor_id].name,
            on_wall=mount.what == What.SKIN,
            met=met_words(row, formats=formats) if row is not None else "",
            at=moment_of(row.step) if row is not None else None,
        )
        for mount in mounts
        for row in [newest.get(mount.sensor_id)]
    )
