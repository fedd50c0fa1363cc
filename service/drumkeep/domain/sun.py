"""Sun on drums that stand in the open, as what side and top face under the three sets.

How strong it is is never known: a bare flag may mean cloud, and of a measured irradiance the angle,
the dirt and the paint stay open. So there is a low, a likely and a high sun, and each set gets the
one that widens the band: the slow set little sun while the drum warms and much while it cools.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.grid import STEP_SECONDS
from drumkeep.thermal.constants import PAINT_EMISSIVITY
from drumkeep.thermal.parameter_sets import LIKELY, SETS
from drumkeep.thermal.solar import (
    ABSORPTANCE,
    SKY_W_M2,
    UNKNOWN_ELEVATION_DEG,
    clear_day,
    least_elevation,
    on_drum,
    sol_air,
)

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

DEFAULT_ABSORPTANCE: Final = ABSORPTANCE["dark blue"]
"""The usual paint of a drum, and near the darkest: the safe side in warmth."""

LEAST_ABSORPTANCE: Final = 0.1
MOST_IRRADIANCE_W_M2: Final = 1500.0

FLAGGED: Final = (0.0, 0.5, 1.0)
"""Shares of a clear day's sun where nothing but the flag is known."""

GIVEN: Final = (0.7, 1.0, 1.45)
"""Of a given irradiance: with the sun at 30° or 60° instead of 45° the side gets 1.44 or 0.74 times
as much, the lid the same; a weathered paint differs by a tenth (our judgement)."""


@dataclass(frozen=True)
class Sun:
    """Irradiance of side and top, W/m², shape (3, time): low, likely and high.

    ``open_sky``, shape (time,), is 1 where the lid lies under the sky, by night too, else 0.
    """

    side_w_m2: Floats
    top_w_m2: Floats
    open_sky: Floats

    def over(self, span: slice) -> "Sun":
        """Return the sun of some of its steps."""
        return Sun(self.side_w_m2[:, span], self.top_w_m2[:, span], self.open_sky[span])

    def where(self, own: Flags, *, elsewhere: "Sun") -> "Sun":
        """Return this sun at the steps of ``own``, and another over the rest."""
        return Sun(
            side_w_m2=np.where(own, self.side_w_m2, elsewhere.side_w_m2),
            top_w_m2=np.where(own, self.top_w_m2, elsewhere.top_w_m2),
            open_sky=np.where(own, self.open_sky, elsewhere.open_sky),
        )


def no_sun(count: int) -> Sun:
    """Return the dark, under a roof."""
    dark = np.zeros((SETS, count))
    return Sun(side_w_m2=dark, top_w_m2=dark, open_sky=np.zeros(count))


def given_sun(level_w_m2: Floats) -> Sun:
    """Return the sun of a global irradiance of the level, W/m², shape (time,)."""
    falls = on_drum(level_w_m2, elevation_deg=UNKNOWN_ELEVATION_DEG)
    return _levels(np.asarray(falls.side_w_m2), np.asarray(falls.top_w_m2), shares=GIVEN)


def clear_sky(first: int, last: int, *, ahead_of_utc_s: Floats) -> Sun:
    """Return the sun of a clear day at grid steps, in shares of none, half and all.

    Parameters
    ----------
    first, last
        Grid steps, inclusive.
    ahead_of_utc_s
        What the place's clock is ahead of UTC at each step, s, shape (time,).
    """
    level, elevation = _clear_days(first, last, ahead_of_utc_s=ahead_of_utc_s)
    falls = on_drum(level, elevation_deg=elevation)
    return _levels(np.asarray(falls.side_w_m2), np.asarray(falls.top_w_m2), shares=FLAGGED)


def measured_sky(first: int, last: int, *, ahead_of_utc_s: Floats, level_w_m2: Floats) -> Sun:
    """Return the sun that a sensor of the level measured at grid steps.

    How much falls on the side hangs on how much of it is beam and how low that comes in. Neither is
    measured: the likely case takes as much diffuse as the level lacks of a clear day's, low and
    high the least and the most of a clear and an overcast sky, and ``GIVEN`` of that.

    Parameters
    ----------
    first, last, ahead_of_utc_s
        As of :func:`clear_sky`.
    level_w_m2
        Global irradiance of the level, W/m², shape (time,); less than nothing counts as none.
    """
    level = np.maximum(level_w_m2, 0.0)
    clear_level, elevation = _clear_days(first, last, ahead_of_utc_s=ahead_of_utc_s)
    clearness = np.clip(level / np.maximum(clear_level, 1.0), 0.0, 1.0)
    elevation = np.maximum(elevation, least_elevation(level))
    clear = np.asarray(on_drum(level, elevation_deg=elevation).side_w_m2)
    grey = np.asarray(on_drum(level, elevation_deg=elevation, diffuse_share=1.0).side_w_m2)
    low, likely, high = GIVEN
    return Sun(
        side_w_m2=np.stack(
            [
                low * np.minimum(clear, grey),
                likely * (clearness * clear + (1.0 - clearness) * grey),
                high * np.maximum(clear, grey),
            ]
        ),
        top_w_m2=np.outer(GIVEN, level),
        open_sky=np.ones(len(level)),
    )


def _clear_days(first: int, last: int, *, ahead_of_utc_s: Floats) -> tuple[Floats, Floats]:
    local = np.arange(first, last + 1) * STEP_SECONDS + ahead_of_utc_s
    days = local / 86_400.0
    # 1970-01-01 was day 1; of leap days only the sun's quarter degree is lost
    day_of_year = np.floor(days) % 365.2425 + 1.0
    return clear_day(day_of_year=day_of_year, hour=24.0 * (days % 1.0))


def _levels(side: Floats, top: Floats, *, shares: tuple[float, float, float]) -> Sun:
    return Sun(
        side_w_m2=np.outer(shares, side),
        top_w_m2=np.outer(shares, top),
        open_sky=np.ones(len(top)),
    )


def facing_sun(
    air_c: Floats,
    *,
    irradiance_w_m2: Floats,
    mean_c: Floats,
    absorptance: Floats | float,
    film_w_m2k: Floats | float,
    faces_sky: Floats | float = 0.0,
) -> Floats:
    """Return what a surface faces, °C, shape (3, …): slow, likely and fast set.

    Parameters
    ----------
    air_c
        Air of the three sets, °C.
    irradiance_w_m2
        Low, likely and high on the surface, W/m², same shape.
    mean_c
        Likely mean of the liquid, °C, shape (…): whether the drum warms or cools.
    absorptance
        Of sunlight.
    film_w_m2k
        Likely outside film, W/(m² K).
    faces_sky
        1 for a lid under the open sky, which radiates to it; 0 for a wall and under a roof.
    """
    low, likely, high = irradiance_w_m2
    towards = sol_air(
        air_c[LIKELY], irradiance_w_m2=likely, absorptance=absorptance, film_w_m2k=film_w_m2k
    )
    warming = towards > mean_c
    sun = np.stack([np.where(warming, low, high), likely, np.where(warming, high, low)])
    faced = sol_air(
        air_c,
        irradiance_w_m2=sun,
        absorptance=absorptance,
        film_w_m2k=film_w_m2k,
        emissivity=PAINT_EMISSIVITY,
        sky_w_m2=SKY_W_M2 * faces_sky,
    )
    return np.asarray(faced, dtype=np.float64)
