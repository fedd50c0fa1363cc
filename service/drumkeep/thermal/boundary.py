"""What a drum feels from outside: films of side, top and bottom from where it stands.

The side sees air by convection and radiation. The top is air, lid and headspace in series; the
bottom is recessed behind the chime, so it sees an air gap and what the drum stands on.
"""

from dataclasses import dataclass
from typing import Final

from drumkeep.thermal.constants import DRUM_RADIUS_M
from drumkeep.thermal.convection import cross_flow_film, still_air_film
from drumkeep.thermal.geometry import DRUM_INSIDE_HEIGHT_M
from drumkeep.thermal.radiation import radiation_film

REFERENCE_AIR_C: Final = 10.0
REFERENCE_DIFFERENCE_K: Final = 15.0
"""Films are taken at one cold-season state; over −15…35 °C they change by less than the band."""

HEADSPACE_FILM_W_M2K: Final = 4.3
"""Gas and radiation across a drum's headspace; gives 2.8 W/(m² K) under a side film of 8."""

FAN_SPEED_M_S: Final = 2.0
MOVING_SPEED_M_S: Final = 5.0
"""Common practice, no source: a warm-room fan stirs about 2 m/s, an open yard or truck 5 m/s."""

BOTTOM_FILM_W_M2K: Final = {"pallet": 3.0, "slab": 6.0, "truck_floor": 4.0}
"""Air-to-liquid, our reckoning: 16 mm of deck and air; a 20 mm air gap with radiation; between."""


@dataclass(frozen=True)
class Exposure:
    """Films in W/(m² K): side (outside film only), top and bottom (air to liquid)."""

    side_w_m2k: float
    top_w_m2k: float
    bottom_w_m2k: float


def side_film(motion: str) -> float:
    """Outside film of the drum's side, convection and radiation, W/(m² K).

    Parameters
    ----------
    motion
        ``still`` (Churchill and Chu), ``fan`` or ``moving`` (Churchill and Bernstein).
    """
    radiative = radiation_film(mean_c=REFERENCE_AIR_C + 0.5 * REFERENCE_DIFFERENCE_K)
    if motion == "still":
        convective = still_air_film(
            surface_c=REFERENCE_AIR_C,
            air_c=REFERENCE_AIR_C + REFERENCE_DIFFERENCE_K,
            height_m=DRUM_INSIDE_HEIGHT_M,
        )
    else:
        speed = {"fan": FAN_SPEED_M_S, "moving": MOVING_SPEED_M_S}[motion]
        convective = cross_flow_film(
            speed_m_s=speed, air_c=REFERENCE_AIR_C, diameter_m=2.0 * DRUM_RADIUS_M
        )
    return convective + radiative


def exposure_of(*, motion: str, standing: str, share: float = 1.0) -> Exposure:
    """Return the films of a drum standing somewhere.

    Parameters
    ----------
    motion
        ``still``, ``fan`` or ``moving``.
    standing
        ``pallet``, ``slab`` or ``truck_floor``.
    share
        Share of the side that sees the air, 0–1: 1 alone, about 0.75 as one of four on a pallet.
    """
    side = side_film(motion)
    return Exposure(
        side_w_m2k=side * share,
        top_w_m2k=1.0 / (1.0 / side + 1.0 / HEADSPACE_FILM_W_M2K),
        bottom_w_m2k=BOTTOM_FILM_W_M2K[standing],
    )
