"""Moist air: the dew point, below which a wall sweats.

References
----------
.. [1] Magnus form with 17.62 and 243.12 °C (WMO Guide to Instruments and Methods of Observation,
   No. 8); within 0.02 K of the ASHRAE formulation on 5–40 °C (compared in ``tests/reference``).
"""

import math
from typing import Final

MAGNUS_A: Final = 17.62
MAGNUS_B_C: Final = 243.12
LEAST_HUMIDITY: Final = 0.1


def dew_point(*, temperature_c: float, relative_humidity: float) -> float:
    """Return the dew point, °C, over water [1]_.

    Parameters
    ----------
    temperature_c
        Dry-bulb temperature, °C, −45…60.
    relative_humidity
        %, 0-100; under 0.1 % it is taken as 0.1 %.
    """
    share = max(relative_humidity, LEAST_HUMIDITY) / 100.0
    gamma = math.log(share) + MAGNUS_A * temperature_c / (MAGNUS_B_C + temperature_c)
    return MAGNUS_B_C * gamma / (MAGNUS_A - gamma)
