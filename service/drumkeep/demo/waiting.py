"""What the demo waits for before it says that all is there."""

from datetime import datetime, timedelta
from typing import Any, Final

from drumkeep.demo import company
from drumkeep.domain.readiness import NOT_COMPUTED

RECENT: Final = timedelta(minutes=10)
"""What reaches this near to the present reaches it."""


def all_computed(drums: list[dict[str, Any]], *, now: datetime) -> bool:
    """Tell whether all that can be are computed to the present, on readings that reach it.

    Readings reach it in the places that the demo's own sensors tell of. A drum without a
    temperature, of which it is said why, cannot be computed.
    """
    recent = now - RECENT
    silent = {sensor.place for sensor in company.SENSORS if sensor.silent_from is not None}
    heard = {sensor.place for sensor in company.SENSORS} - silent

    def reaches(computed: dict[str, Any] | None, name: str) -> bool:
        told = None if computed is None else computed[name]
        return told is not None and datetime.fromisoformat(told) >= recent

    return bool(drums) and all(
        reaches(drum["estimate"], "at")
        and (drum["place"] not in heard or reaches(drum["estimate"], "supported_to"))
        for drum in drums
        if drum["estimate"] is not None or NOT_COMPUTED in drum["readiness"]["reasons"]
    )
