"""What was computed of a drum, for looks back of months: from its checkpoints alone."""

from typing import Final

import numpy as np

from drumkeep.domain.courses import Course
from drumkeep.domain.grid import STEPS_PER_HOUR, step_at
from drumkeep.domain.liquid_state import (
    UNSUPPORTED_K,
    band_at,
    disputed,
    likely_mean,
    states_from_bytes,
)
from drumkeep.operations.ground import Ground
from drumkeep.storage.estimates import checkpoints_between
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.estimates import Estimate
from drumkeep.storage.transaction import Tx

AROUND_STEPS: Final = 12 * STEPS_PER_HOUR
"""Points are read this far round, since old ones lie six hours apart."""

USUAL_ERROR_K: Final = 0.5
"""Of the air of a place where no sensor hangs now."""


def course_of(
    tx: Tx,
    *,
    drum: Drum,
    newest: Estimate | None,
    ground: Ground,
    last: int,
    first: int = 0,
) -> Course | None:
    """Return what is on record of a drum from one grid step to another; None if nothing is.

    No reading is read: the band of each point rests on what the record itself holds of the air.
    """
    begin = max(step_at(drum.received_at), first - AROUND_STEPS)
    found = checkpoints_between(tx, drum_id=drum.id, first=begin, last=last + AROUND_STEPS)
    told = [(row.step, row.state) for row in found]
    if (
        newest is not None
        and newest.step <= last + AROUND_STEPS
        and (not told or told[-1][0] < newest.step)
    ):
        told.append((newest.step, newest.state))
    if not told:
        return None
    states = states_from_bytes([state for _, state in told])
    steps = np.array([step for step, _ in told], dtype=np.int64)
    error = {
        place: min(
            (
                ground.sensors[mount.sensor_id].error_k
                for here in (ground.enclosing(place) if place in ground.places else ())
                for mount in ground.air_mounts.get(here, ())
            ),
            default=USUAL_ERROR_K,
        )
        for place in np.unique(states["place"]).tolist()
    }
    band = band_at(
        states,
        step=steps,
        sensor_error_k=np.array([error[place] for place in states["place"].tolist()]),
        drive_k=np.zeros(len(steps)),
    )
    sure = states["resolved"] & (states["doubt_k"] < UNSUPPORTED_K) & ~disputed(states, step=steps)
    return Course(
        steps=steps,
        bottom=np.asarray(band.bottom, dtype=np.float64),
        mean=likely_mean(states),
        top=np.asarray(band.top, dtype=np.float64),
        low=np.asarray(band.low, dtype=np.float64),
        high=np.asarray(band.high, dtype=np.float64),
        known=np.asarray(sure, dtype=np.bool_),
        coldest=np.asarray(states["coldest_c"], dtype=np.float64),
    )
