"""All sensors in short, for the list of them: where each hangs and when it was last heard."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlmodel import col

from drumkeep.storage.tables.catalogue import Mount, Place, Sensor, Site
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.readings import latest
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True)
class HangingSensor:
    """A sensor that hangs in a place, or on a drum there; ``heard_ms`` is its newest reading."""

    id: int
    name: str
    interval_s: float
    hung_at: datetime
    place_id: int
    place_code: str
    place: str
    site_code: str
    site: str
    drum: str | None
    heard_ms: int | None


def hanging(tx: Tx) -> list[HangingSensor]:
    """Return the sensors that hang somewhere with no end set, by site, place, drum and name."""
    rows = tx.session.execute(
        select(
            col(Sensor.id),
            col(Sensor.name),
            col(Sensor.interval_s),
            col(Mount.since),
            col(Place.id),
            col(Place.code),
            col(Place.name),
            col(Site.code),
            col(Site.name),
            col(Drum.tag),
            latest.c.ts,
        )
        .join(Mount, col(Mount.sensor_id) == col(Sensor.id))
        .join(Drum, col(Mount.drum_id) == col(Drum.id), isouter=True)
        .join(Place, func.coalesce(col(Mount.place_id), col(Drum.place_id)) == col(Place.id))
        .join(Site, col(Place.site_id) == col(Site.id))
        .join(latest, latest.c.sensor_id == col(Sensor.id), isouter=True)
        .where(col(Mount.until).is_(None))
    )
    found = [HangingSensor(*row) for row in rows]
    return sorted(
        found, key=lambda one: (one.site, one.place, one.place_id, one.drum or "", one.name)
    )


def hanging_nowhere(tx: Tx, *, but: Collection[str]) -> list[str]:
    """Return the names of sensors that hang nowhere now, in order, but those of some quantities."""
    hung = (
        select(col(Mount.sensor_id))
        .join(Drum, col(Mount.drum_id) == col(Drum.id), isouter=True)
        .where(
            col(Mount.until).is_(None),
            func.coalesce(col(Mount.place_id), col(Drum.place_id)).is_not(None),
        )
    )
    names = tx.session.execute(
        select(col(Sensor.name))
        .where(col(Sensor.id).not_in(hung), col(Sensor.quantity).not_in(sorted(but)))
        .order_by(col(Sensor.name))
    )
    return list(names.scalars())
