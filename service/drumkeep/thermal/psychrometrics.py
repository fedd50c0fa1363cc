"""Moist air: the dew point, below which a wall sweats.

References
----------
.. [1] ASHRAE Handbook, Fundamentals (2017), chapter 1, equations 5 and 6 (Hyland and Wexler, 1983);
   joined at the triple point of water instead of 0 °C, where the two meet.
"""

import math
from typing import Final

from drumkeep.thermal.constants import ZERO_C_K

TRIPLE_POINT_C: Final = 0.01
LEAST_HUMIDITY: Final = 0.1
COLDEST_C: Final = -100.0
"""Where equation 5 begins."""

_CLOSE_K: Final = 1e-6


def saturation_pressure_kpa(temperature_c: float) -> float:
    """Vapour pressure of water, kPa, over ice below its triple point; −100…200 °C [1]_."""
    t = temperature_c + ZERO_C_K
    if temperature_c <= TRIPLE_POINT_C:
        polynomial = (
            -5.6745359e3 / t
            + 6.3925247
            + t * (-9.677843e-3 + t * (6.2215701e-7 + t * (2.0747825e-9 - t * 9.484024e-13)))
        )
        return math.exp(polynomial + 4.1635019 * math.log(t)) / 1000.0
    polynomial = (
        -5.8002206e3 / t + 1.3914993 + t * (-4.8640239e-2 + t * (4.1764768e-5 - t * 1.4452093e-8))
    )
    return math.exp(polynomial + 6.5459673 * math.log(t)) / 1000.0


def dew_point(*, temperature_c: float, relative_humidity: float) -> float:
    """Return the dew point, °C; below the triple point that is the frost point.

    Parameters
    ----------
    temperature_c
        Dry-bulb temperature, °C, −45…60.
    relative_humidity
        %, 0-100; under 0.1 % it is taken as 0.1 %.
    """
    share = min(max(relative_humidity, LEAST_HUMIDITY), 100.0) / 100.0
    wanted = share * saturation_pressure_kpa(temperature_c)
    low, high = COLDEST_C, temperature_c
    while high - low > _CLOSE_K:
        middle = 0.5 * (low + high)
        if saturation_pressure_kpa(middle) < wanted:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
