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
from drumkeep.thermal.stratified import LAYERS, eighths

Steps = int | NDArray[np.int64]
Floats = NDArray[np.float64]

NEVER: Final = -1
"""In a ``…_since`` or ``…_step`` field: not so, or not yet."""

MEASURED_STEPS: Final = 24
"""Two hours: how long a dip counts as a measurement, and how fast its grip on the band fades."""

FORGOTTEN_STEPS: Final = 12 * MEASURED_STEPS
"""A day: after it a measurement has no grip on the model's error any more."""

DISPUTED_STEPS: Final = 144
"""Twelve hours: how long a refused measurement keeps the liquid from being called known, unless
another settles it. A hand that measured may have been right."""

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
        ("kept", "f8", (LAYERS,)),  # share of the model's error that measurements left, then
        ("measured_step", "i8"),  # when anything last measured it, straps on the skin too
        ("dip_step", "i8"),  # when liquid or skin was last measured so that it counts as known
        ("innovation_k", "f8"),  # last measurement minus what was computed
        ("refused_step", "i8"),  # when a measurement was refused that nothing has settled since
        ("refused_k", "f8"),  # what that one was off by
        ("refused_sigma_k", "f8"),
        ("refused_source", "i8"),  # the sensor, or a person
        ("cold_steps", "i8"),  # likely bottom under the seeding limit since the last clear look
        ("deep_steps", "i8"),  # low bottom under the deep limit, without a break
        ("cold_total_steps", "i8"),
        ("degree_hours", "f8"),
        ("coldest_c", "f8"),
        ("solids", "i1"),
        ("warm_steps", "i8"),  # low bottom at or above the redissolving limit, without a break
        ("warm_agitated_min", "f8"),
        ("redissolved", "?"),  # warm and agitated for long enough, and not cold since
        ("agitated_until", "i8"),  # first step after the last agitation
        ("agent_lost", "f8", (SETS,)),  # share of the resin's agent that left: least, likely, most
        ("agent_accepted", "f8"),  # the likely share when a manager last released the drum
        ("made_step", "i8"),  # when the oldest liquid in it was made
        ("expires_step", "i8"),  # when the first of what is in it expires by its date
        ("age_steps", "i8"),  # steps of known temperature that ``age_sum`` is over
        ("age_sum", "f8"),  # their rates of ageing (thermal.ageing.ageing_rate)
        ("mixed_lots", "?"),  # holds liquid of more than one lot
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
        ("seal_site_kpa", "f8"),  # air where it was sealed; NaN for where it is now
        ("regulated_kpa", "f8"),  # blanket on a regulator; NaN when none
        ("opened", "?"),
        ("overpressure", "?"),
        ("bulged", "?"),
        ("heat_w", "f8"),
        ("heat_until", "i8"),
        ("heat_device", "i1"),  # domain.heaters.Device
        ("heat_height_m", "f8"),  # of a band's middle; NaN where nobody said
        ("heat_blanket_r", "f8"),  # m² K/W over side and top while the heater is on
        ("thermostat_c", "f8"),  # NaN without one
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
    states["seal_site_kpa"] = np.nan
    for name in ("dip_step", "agitated_step", "agitated_until", "seed_since", "gas_since"):
        states[name] = NEVER
    states["kept"] = 1.0
    for name in ("measured_step", "refused_step", "refused_source"):
        states[name] = NEVER
    states["heat_height_m"] = states["thermostat_c"] = np.nan
    states["refused_k"] = states["refused_sigma_k"] = np.nan
    for name in ("below_since", "above_since", "heat_until"):
        states[name] = NEVER
    states["innovation_k"] = np.nan
    states["place"] = NEVER
    return states


def states_from_bytes(rows: list[bytes]) -> LiquidStates:
    """Return records from stored checkpoints (a writable copy)."""
    return np.frombuffer(b"".join(rows), dtype=LIQUID_STATE).copy()


def sets_first(states: LiquidStates) -> Floats:
    """Layers with the parameter set as first axis, shape (3, drum, 8)."""
    return np.moveaxis(states["layers"], 1, 0)


def band_at(
    states: LiquidStates, *, step: Steps, sensor_error_k: Floats | float, drive_k: Floats
) -> Band:
    """Band of drums at a step; a recent dip holds the model's error down.

    The sets may cross: of an unknown start the slow one began cold and lags, the fast one began
    warm and leads. The band is never narrower than the doubt that stands.

    Parameters
    ----------
    states
        Records, one a drum.
    step
        The grid step that they hold for, or one of each.
    sensor_error_k
        Error of the air sensors of each drum's place, K.
    drive_k
        |air − mean| at this very step, K: counts beside the hours on record.
    """
    kept = _kept_of_parts(states, step=step)
    return band_of(
        sets_first(states),
        drive_k=np.maximum(drive_of(states["ring"]), drive_k),
        sensor_error_k=sensor_error_k * kept[:, 1] + hidden_doubt(states),
        kept=kept,
    )


def _kept_of_parts(states: LiquidStates, *, step: Steps) -> Floats:
    """Return ``kept_at`` of bottom, mean and top, shape (drum, 3)."""
    if not _grip(states, step=step).any():
        return np.ones((len(states), 3))
    kept = kept_at(states, step=step)
    told = eighths(kept)
    return np.stack([told[:, 0], kept.mean(axis=-1), told[:, -1]], axis=-1)


def kept_at(states: LiquidStates, *, step: Steps) -> Floats:
    """Share of the model's and the air sensors' error that stands in each layer, (drum, layer)."""
    grip = _grip(states, step=step)
    return np.asarray(1.0 - (1.0 - states["kept"]) * grip[..., None], dtype=np.float64)


def _grip(states: LiquidStates, *, step: Steps) -> Floats:
    """Return what is left of the hold of the last measurement on the model's error, (drum,)."""
    age = np.maximum(step - states["measured_step"], 0)
    held = (states["measured_step"] != NEVER) & (age < FORGOTTEN_STEPS)
    return np.where(held, np.exp(-age / MEASURED_STEPS), 0.0)


def hidden_doubt(states: LiquidStates) -> Floats:
    """Half of the doubt that the sets, as far apart as they are, do not show, K, (drum,)."""
    layers = sets_first(states)
    apart = np.abs((layers[FAST] - layers[SLOW]).mean(axis=-1))
    return np.asarray(0.5 * np.maximum(states["doubt_k"] - apart, 0.0), dtype=np.float64)


def disputed(states: LiquidStates, *, step: Steps) -> NDArray[np.bool_]:
    """Whether a measurement that was refused still keeps each drum from being called known."""
    since = states["refused_step"]
    return np.asarray((since != NEVER) & (step - since <= DISPUTED_STEPS), dtype=np.bool_)


def likely_mean(states: LiquidStates) -> Floats:
    """Likely mean of each drum, °C."""
    return np.asarray(states["layers"][:, LIKELY].mean(axis=-1), dtype=np.float64)
