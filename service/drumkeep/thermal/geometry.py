"""The upright cylinder of liquid inside a drum."""

import math

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import DRUM_RADIUS_M

Floats = NDArray[np.float64]

CROSS_SECTION_M2 = math.pi * DRUM_RADIUS_M**2
PERIMETER_M = 2.0 * math.pi * DRUM_RADIUS_M
DRUM_INSIDE_HEIGHT_M = 0.850
"""Inside height of a 55 US gal drum (retrieved trade table: 33.5 in)."""


def liquid_depth(mass_kg: Floats, density_kg_m3: Floats) -> Floats:
    """Depth (m) of a mass (kg) of liquid of this density (kg/m³) standing in a drum."""
    return np.asarray(mass_kg / (density_kg_m3 * CROSS_SECTION_M2), dtype=np.float64)
