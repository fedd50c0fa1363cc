"""How hard the air has driven a drum: the largest |air − mean| of about the last six hours.

Kept as hourly maxima on the UTC clock, so that a drum restarted from a checkpoint agrees with one
that was advanced without a break.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HOURS: Final = 7
"""The running hour and the six before it."""


def record_drive(ring: Floats, *, hour: int, new_hour: bool, difference_k: Floats) -> None:
    """Take one difference into the ring, in place.

    Parameters
    ----------
    ring
        Hourly maxima, K, shape (drum, 7); slot ``hour % 7`` is the running hour.
    hour
        UTC hours since 1970.
    new_hour
        True for the first step of an hour: its slot then starts afresh.
    difference_k
        |air − mean|, K, shape (drum,).
    """
    slot = hour % HOURS
    ring[:, slot] = difference_k if new_hour else np.maximum(ring[:, slot], difference_k)


def drive_of(ring: Floats) -> Floats:
    """Largest difference in the ring, K, shape (drum,)."""
    return np.asarray(ring.max(axis=-1), dtype=np.float64)
