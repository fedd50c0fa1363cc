"""The low–high band of the liquid: parameter hull, sensor error and model error.

The model error's caps come from comparing the layer model with fine-grid curves: its bottom is
biased warm in fast cooling, so the band reaches further down than up. The error fades at rest.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.parameter_sets import LIKELY

Floats = NDArray[np.float64]

BOTTOM_LOW_K: Final = 2.5
BOTTOM_HIGH_K: Final = 1.0
MEAN_K: Final = 0.7
TOP_K: Final = 2.5
REST_K: Final = 0.3
DRIVE_SHARE: Final = 0.2


@dataclass(frozen=True)
class Band:
    """Bottom, mean and top with their low and high, °C; arrays over drums (or time)."""

    bottom: Floats
    bottom_low: Floats
    bottom_high: Floats
    mean: Floats
    mean_low: Floats
    mean_high: Floats
    top: Floats
    top_low: Floats
    top_high: Floats

    @property
    def low(self) -> Floats:
        """The coldest plausible liquid."""
        return np.minimum(self.bottom_low, self.mean_low)

    @property
    def high(self) -> Floats:
        """The hottest plausible liquid."""
        return np.maximum(self.top_high, self.mean_high)


def band_of(
    layers_c: Floats,
    *,
    drive_k: Floats,
    sensor_error_k: Floats | float = 0.0,
    kept: Floats | float = 1.0,
) -> Band:
    """Return the band of drums.

    Parameters
    ----------
    layers_c
        Shape (3, …, 8): slow, likely, fast; bottom first.
    drive_k
        Largest |air − mean| of the last six hours, K, shape (…).
    sensor_error_k
        What the sensors' own error may add, K.
    kept
        Share of the model error that stands, 0–1; a dip lowers it for a while.
    """
    bottoms, tops = layers_c[..., 0], layers_c[..., -1]
    means = layers_c.mean(axis=-1)
    cap = REST_K + DRIVE_SHARE * drive_k

    def error(limit: float) -> Floats:
        return np.minimum(limit, cap) * kept + sensor_error_k

    return Band(
        bottom=bottoms[LIKELY],
        bottom_low=bottoms.min(axis=0) - error(BOTTOM_LOW_K),
        bottom_high=bottoms.max(axis=0) + error(BOTTOM_HIGH_K),
        mean=means[LIKELY],
        mean_low=means.min(axis=0) - error(MEAN_K),
        mean_high=means.max(axis=0) + error(MEAN_K),
        top=tops[LIKELY],
        top_low=tops.min(axis=0) - error(TOP_K),
        top_high=tops.max(axis=0) + error(TOP_K),
    )
