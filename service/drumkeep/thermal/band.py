"""The low–high band of the liquid: parameter hull, sensor error and model error.

The model's error comes from the table of its differences from fine-grid curves (``model_error``):
the bottom is a little too warm in fast cooling, so the band reaches further down than up. It fades
at rest.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.kernel import LAYERS
from drumkeep.thermal.model_error import worst
from drumkeep.thermal.parameter_sets import LIKELY
from drumkeep.thermal.stratified import eighths

Floats = NDArray[np.float64]

_MARGIN: Final = 1.25
"""What other drums may have over the worst of those to which the model was fitted."""

BOTTOM_LOW_K: Final = _MARGIN * worst("bottom_warm_k")
BOTTOM_HIGH_K: Final = _MARGIN * worst("bottom_cold_k")
MEAN_K: Final = _MARGIN * worst("mean_k")
TOP_K: Final = _MARGIN * worst("top_k")
REST_K: Final = 0.2
DRIVE_SHARE: Final = 0.05
"""No error is larger than so much at rest and so much for each kelvin between air and liquid: every
error of the table's runs lies under it (``tests/reference/test_fine_grid.py``)."""

TWO_SIDED_90: Final = 1.645
"""Standard deviations in a half-range: the band is meant to hold in nine cases of ten."""


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


def held_within(band: Band, *, coldest_c: Floats, hottest_c: Floats) -> Band:
    """Return the band, cut where no liquid can be; shape of the arguments as of the band.

    Parameters
    ----------
    coldest_c, hottest_c
        What the liquid has begun from or faced so far: without a heater it is never colder than
        the coldest nor hotter than the hottest of that. The likely course is left as it is.
    """
    cut = {}
    for name in ("bottom", "mean", "top"):
        likely = getattr(band, name)
        low, high = getattr(band, f"{name}_low"), getattr(band, f"{name}_high")
        cut[f"{name}_low"] = np.minimum(np.maximum(low, coldest_c), likely)
        cut[f"{name}_high"] = np.maximum(np.minimum(high, hottest_c), likely)
    return replace(band, **cut)


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
        Shape (3, …, layer): slow, likely, fast; bottom first.
    drive_k
        Largest |air − mean| of the last six hours, K, shape (…).
    sensor_error_k
        What the sensors' own error may add, K.
    kept
        Share of the model error that stands, 0–1, broadcasting to (…, 3): bottom, mean and top;
        a dip lowers it for a while.
    """
    told = eighths(layers_c)
    bottoms, tops = told[..., 0], told[..., -1]
    # thick liquid may for a while be coldest above its bottom
    coldest, hottest = told.min(axis=-1), told.max(axis=-1)
    means = layers_c.mean(axis=-1)
    cap = REST_K + DRIVE_SHARE * drive_k
    stands = np.broadcast_to(kept, (*np.shape(means[LIKELY]), 3))

    def error(limit: float, where: int) -> Floats:
        return np.asarray(np.minimum(limit, cap) * stands[..., where] + sensor_error_k)

    return Band(
        bottom=bottoms[LIKELY],
        bottom_low=coldest.min(axis=0) - error(BOTTOM_LOW_K, 0),
        bottom_high=bottoms.max(axis=0) + error(BOTTOM_HIGH_K, 0),
        mean=means[LIKELY],
        mean_low=means.min(axis=0) - error(MEAN_K, 1),
        mean_high=means.max(axis=0) + error(MEAN_K, 1),
        top=tops[LIKELY],
        top_low=tops.min(axis=0) - error(TOP_K, 2),
        top_high=hottest.max(axis=0) + error(TOP_K, 2),
    )


def layer_error(drive_k: Floats | float) -> Floats:
    """Half-range of the model's error in each layer, K, shape (…, layer).

    Straight lines from the bottom's to the mean's at mid-depth and to the top's, under the same
    cap as the band.
    """
    bottom = 0.5 * (BOTTOM_LOW_K + BOTTOM_HIGH_K)
    size = np.interp(np.linspace(0.0, 1.0, LAYERS), [0.0, 0.5, 1.0], [bottom, MEAN_K, TOP_K])
    cap = REST_K + DRIVE_SHARE * np.asarray(drive_k, dtype=np.float64)[..., None]
    return np.asarray(np.minimum(size, cap), dtype=np.float64)
