"""What a probe in a drum of the demo says: a lump that lags behind the air of where it stood.

Far simpler than what the service computes and not made from it, so that dips and sensors in the
liquid tell it something of their own. How fast a lump follows is invented for each place.
"""

import math
from datetime import datetime
from typing import Final

from drumkeep.demo import company
from drumkeep.demo.climate import STEP, Outdoors
from drumkeep.demo.deeds import Batch
from drumkeep.demo.timetable import Timetable

_FOLLOWS_H: Final = {"harrow/annex": 13.5, "harrow/north-shed": 19.0, "harrow/warm-room": 11.0}
"""Hours in which the liquid comes nearer to the air by a factor e. The annex is draughty."""


def liquid(batch: Batch, *, timetable: Timetable, outside: Outdoors) -> list[float]:
    """Return the liquid of a batch, °C, on the steps of the outdoors; until its receipt as it came.

    Parameters
    ----------
    batch
        Dipped on receipt.
    timetable
        When the story happens.
    outside
        The outdoors of its site.
    """
    stays = {batch.at(timetable): batch.place}
    stays |= {d.at(timetable): d.fields["to"] for d in batch.deeds if d.kind == "moved"}
    air = {place: _air_of(place, outside) for place in stays.values()}
    state = batch.liquid_c
    if state is None:
        raise ValueError(f"nobody dipped {batch.key} on receipt")
    found = []
    for index, at in enumerate(outside.times):
        place = next((stays[begun] for begun in sorted(stays, reverse=True) if begun <= at), None)
        if place is not None:
            keep = math.exp(-STEP.total_seconds() / (3600.0 * _FOLLOWS_H[place]))
            state = air[place][index] + (state - air[place][index]) * keep
        found.append(state)
    return found


def reading(batch: Batch, *, at: datetime, timetable: Timetable, outside: Outdoors) -> float:
    """Return what a probe in the liquid of a batch says at a time, °C."""
    step = (at - outside.times[0]) // STEP
    return round(liquid(batch, timetable=timetable, outside=outside)[step], 1)


def _air_of(place: str, outside: Outdoors) -> list[float]:
    curve = next(s.curve for s in company.SENSORS if s.place == place and s.what == "air")
    if curve is None:
        raise ValueError(f"the sensor of {place} reads nothing")
    return curve(outside)
