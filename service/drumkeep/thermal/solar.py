"""Sun on a drum in the open, as the temperature that side and top then face.

Sol-air temperature (ASHRAE Handbook of Fundamentals, ch. 18): the air that would, without sun and
sky, warm the surface as much: t_e = t_o + a I/h_o − ε ΔR/h_o.

References
----------
.. [1] Haurwitz, J. Meteorology 2 (1945) 154 and 3 (1946) 123, clear-sky global irradiance, with the
   coefficients of Reno, Hansen and Stein, SAND2012-2389.
.. [2] Cooper, Solar Energy 12 (1969) 333, declination; Duffie and Beckman, ch. 1.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.convection import Numbers

Floats = NDArray[np.float64]

ABSORPTANCE: Final = {"black": 0.95, "dark blue": 0.90, "red": 0.70, "white": 0.25}
"""Of sunlight by painted steel (handbook values, from memory: 0.90-0.95, 0.65-0.75, 0.20-0.30)."""

SKY_W_M2: Final = 63.0
"""ΔR of a surface that faces a clear sky: 20 Btu/(h ft²), which at h_o 17 W/(m² K) is ASHRAE's
3.9 K; a wall sees as much warm ground as cold sky, and ASHRAE takes 0."""

DIFFUSE_SHARE: Final = 0.15
"""Of the global irradiance under a clear sky (our judgement, near ASHRAE's clear-day figures)."""

GROUND_REFLECTANCE: Final = 0.2
"""Bare ground and old concrete; the usual figure (Duffie and Beckman, ch. 2)."""

LATITUDE_DEG: Final = 40.0
"""Where no irradiance is measured: a clear day at 40° north. A site's latitude is not known."""

LEAST_ELEVATION_DEG: Final = 5.0
"""Lower, the sun is held at this: its beam on a wall would be divided by nothing."""


BEAM_W_M2: Final = 1000.0
"""The strongest beam on a face that meets it: the standard spectrum at air mass 1.5 has 900 W/m²
(ASTM G173), a high dry site with the sun overhead a tenth more."""


@dataclass(frozen=True)
class Sunlight:
    """Irradiance of a drum's lid and of its side, mean all round, W/m²."""

    top_w_m2: Numbers
    side_w_m2: Numbers


UNKNOWN_ELEVATION_DEG: Final = 45.0
"""Where the irradiance is given and the sun's height is not."""


def sol_air(
    air_c: Numbers,
    *,
    irradiance_w_m2: Numbers,
    absorptance: Numbers,
    film_w_m2k: Numbers,
    emissivity: float = 0.0,
    sky_w_m2: Numbers = 0.0,
) -> Numbers:
    """Temperature (°C) that a sunlit surface faces, in place of the air's.

    Parameters
    ----------
    air_c
        Air, °C.
    irradiance_w_m2
        On the surface itself, W/m².
    absorptance
        Of sunlight, 0-1.
    film_w_m2k
        Outside film, convection and radiation, W/(m² K).
    emissivity, sky_w_m2
        ε and ΔR of a surface that faces the sky; 0 for a wall.
    """
    return air_c + (absorptance * irradiance_w_m2 - emissivity * sky_w_m2) / film_w_m2k


def clear_day(*, day_of_year: Numbers, hour: Numbers) -> tuple[Floats, Floats]:
    """Return global irradiance of the level, W/m², and the sun's elevation, degrees [1]_ [2]_.

    Parameters
    ----------
    day_of_year
        1 on 1 January.
    hour
        Of the local day; noon counts as the sun's highest, so that it is up to an hour off.
    """
    declination = np.radians(23.45) * np.sin(2.0 * np.pi * (284.0 + day_of_year) / 365.0)
    latitude = np.radians(LATITUDE_DEG)
    hour_angle = np.radians(15.0) * (np.asarray(hour, dtype=np.float64) - 12.0)
    height = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(
        declination
    ) * np.cos(hour_angle)
    up = np.maximum(height, 1e-6)
    level = np.where(height > 0.0, 1098.0 * up * np.exp(-0.059 / up), 0.0)
    return level, np.degrees(np.arcsin(np.clip(height, -1.0, 1.0)))


def least_elevation(level_w_m2: Floats) -> Floats:
    """Return the lowest sun, degrees, whose beam can make an irradiance of the level.

    Where the clock or the latitude is off, the sun computed may stand too low for what is measured,
    and a wall would be said to face a beam that there is not.
    """
    beam = (1.0 - DIFFUSE_SHARE) * level_w_m2 / BEAM_W_M2
    return np.asarray(np.degrees(np.arcsin(np.clip(beam, 0.0, 1.0))), dtype=np.float64)


def on_drum(
    level_w_m2: Numbers, *, elevation_deg: Numbers, diffuse_share: Numbers = DIFFUSE_SHARE
) -> Sunlight:
    """Share irradiance of the level out over an upright drum; ``diffuse_share`` 1: overcast.

    The beam meets D × H of the side's π D × H, so 1/π of its own strength times the cosine of the
    elevation is the mean all round; half the sky's diffuse light and half of what the ground throws
    back fall on a wall (Duffie and Beckman, ch. 2: isotropic sky).
    """
    low = np.radians(np.maximum(elevation_deg, LEAST_ELEVATION_DEG))
    beam = (1.0 - diffuse_share) * level_w_m2 / np.tan(low) / np.pi
    around = 0.5 * (diffuse_share + GROUND_REFLECTANCE) * level_w_m2
    return Sunlight(top_w_m2=level_w_m2, side_w_m2=beam + around)
