"""All that a drum's liquid carries from one grid step to the next.

One numpy record a drum: what is here and the events and air from here on give every later state,
so a checkpoint is this record and nothing else.
"""

from enum import IntEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.band import Band, band_of
from drumkeep.thermal.drive import HOURS, drive_of
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SETS, SLOW
from drumkeep.thermal.stratified import LAYERS

Floats = NDArray[np.float64]

NEVER: Final = -1
"""In a ``…_since`` or ``…_step`` field: not so, or not yet."""

MEASURED_STEPS: Final = 24
"""Two hours: how long a dip counts as a measurement, and how fast its grip on the band fades."""

UNSUPPORTED_K: Final = 2.0
"""What an unknown start or a gap may have left in the band before the liquid is called known."""


class Solids(IntEnum):
    """What is thought of solids in an iso drum."""

    NONE = 0
    SUSPECTED = 1
    SEEN = 2


LIQUID_STATE: Final = np.dtype(
    [
        ("layers", "f8", (SETS, LAYERS)),
        ("ring", "f8", (HOURS,)),  # hourly maxima of |air − mean|, K
        ("mass_kg", "f8"),
        ("place", "i8"),
        ("alive", "?"),  # received, and neither emptied nor disposed of
        ("doubt_k", "f8"),  # what an unknown start or a gap has left in the band
        ("resolved", "?"),  # the start is known: seeding memory runs
        ("dip_share", "f8"),  # weight of the last dip or skin reading
        ("dip_step", "i8"),
        ("innovation_k", "f8"),  # last measurement minus what was computed
        ("cold_steps", "i8"),  # likely bottom under the seeding limit since the last clear look
        ("deep_steps", "i8"),  # low bottom under the deep limit, without a break
        ("cold_total_steps", "i8"),
        ("degree_hours", "f8"),
        ("coldest_c", "f8"),
        ("solids", "i1"),
        ("warm_steps", "i8"),  # low bottom at or above the redissolving limit, without a break
        ("warm_agitated_min", "f8"),
        ("agitated_step", "i8"),
        ("seed_since", "i8"),
        ("gas_since", "i8"),
        ("below_since", "i8"),
        ("above_since", "i8"),
        ("sealed", "?"),
        ("seal_c", "f8"),
        ("seal_headspace_m3", "f8"),
        ("seal_blanket_kpa", "f8"),
        ("seal_saturation", "f8"),
        ("regulated_kpa", "f8"),  # blanket on a regulator; NaN when none
        ("opened", "?"),
        ("overpressure", "?"),
        ("bulged", "?"),
        ("heat_w", "f8"),
        ("heat_until", "i8"),
    ]
)

LiquidStates = NDArray[np.void]
"""An array of ``LIQUID_STATE`` records, one a drum."""


def empty_states(count: int) -> LiquidStates:
    """Return records of drums that have not been received."""
    states = np.zeros(count, dtype=LIQUID_STATE)
    states["layers"] = np.nan
    states["coldest_c"] = np.inf
    states["regulated_kpa"] = np.nan
    for name in ("dip_step", "agitated_step", "seed_since", "gas_since"):
        states[name] = NEVER
    for name in ("below_since", "above_since", "heat_until"):
        states[name] = NEVER
    states["innovation_k"] = np.nan
    states["place"] = NEVER
    return states


def states_from_bytes(rows: list[bytes]) -> LiquidStates:
    """Return records from stored checkpoints (a writable copy)."""
    return np.frombuffer(b"".join(rows), dtype=LIQUID_STATE).copy()


def state_size() -> int:
    """Bytes of one record."""
    return LIQUID_STATE.itemsize


def sets_first(states: LiquidStates) -> Floats:
    """Layers with the parameter set as first axis, shape (3, drum, 8)."""
    return np.moveaxis(states["layers"], 1, 0)


def band_at(
    states: LiquidStates, *, step: int, sensor_error_k: Floats | float, drive_k: Floats
) -> Band:
    """Band of drums at a step; a recent dip holds the model's error down.

    The sets may cross: of an unknown start the slow one began cold and lags, the fast one began
    warm and leads. The band is never narrower than the doubt that stands.

    Parameters
    ----------
    states
        Records, one a drum.
    step
        The grid step that they hold for.
    sensor_error_k
        Error of the air sensors of each drum's place, K.
    drive_k
        |air − mean| at this very step, K: counts beside the hours on record.
    """
    grip = np.where(
        states["dip_step"] == NEVER,
        0.0,
        states["dip_share"] * np.exp(-(step - states["dip_step"]) / MEASURED_STEPS),
    )
    layers = sets_first(states)
    apart = np.abs((layers[FAST] - layers[SLOW]).mean(axis=-1))
    return band_of(
        layers,
        drive_k=np.maximum(drive_of(states["ring"]), drive_k),
        sensor_error_k=sensor_error_k + 0.5 * np.maximum(states["doubt_k"] - apart, 0.0),
        kept=1.0 - grip,
    )


def likely_mean(states: LiquidStates) -> Floats:
    """Likely mean of each drum, °C."""
    return np.asarray(states["layers"][:, LIKELY].mean(axis=-1), dtype=np.float64)
