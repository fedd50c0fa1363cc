"""What a drum feels from outside: films of side, top and bottom from where it stands.

The side sees air by convection and radiation. The top is air, lid and headspace in series; the
bottom is recessed behind the chime, so it sees an air gap and what the drum stands on.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import DRUM_RADIUS_M, PAINT_EMISSIVITY
from drumkeep.thermal.convection import (
    LID_BLEND,
    SIDE_BLEND,
    Numbers,
    air_at,
    air_rayleigh,
    cross_flow_film,
    flat_plate_film,
    mixed,
    outside,
    plate_form,
    still_air_film,
    still_lid_film,
)
from drumkeep.thermal.geometry import DRUM_INSIDE_HEIGHT_M
from drumkeep.thermal.radiation import radiation_film

Floats = NDArray[np.float64]

REFERENCE_SURFACE_C: Final = 10.0
REFERENCE_AIR_C: Final = 25.0
"""The state of a film where no other is given: a cold drum in a shop."""

HEADSPACE_FILM_W_M2K: Final = 4.3
"""Gas and radiation across a drum's headspace; gives 2.8 W/(m² K) under a lid film of 8."""

SPEED_M_S: Final = {"fan": 2.0, "moving": 5.0, "windy": 6.7}
"""At the drum. A warm-room fan stirs about 2 m/s, an open yard or truck 5 m/s (common practice, no
source); 6.7 m/s, 15 mph, is the wind of ASHRAE's outdoor winter film."""

LEAST_WIND_M_S: Final = 0.1
MOST_WIND_M_S: Final = 40.0

BOTTOM_FILM_W_M2K: Final = {"pallet": 3.0, "slab": 6.0, "truck_floor": 4.0}
"""Bottom to what it faces, our reckoning (``tests/reference/test_boundary.py`` adds up the parts).

The chime holds the head 15-20 mm up: still air, 0.025/0.0175 W/(m² K), and radiation between paint
and concrete, 4.4. A slab is that alone. A pallet adds 16 mm of wood and the air under it where a
board is, and lets the gap see the floor where none is; a truck floor adds 12 to 18 mm of plywood.
"""

FLOOR_SHARE: Final = {"pallet": 0.5, "slab": 1.0, "truck_floor": 1.0}
"""Share of the floor in what the bottom faces, the rest is air: under a pallet air moves and the
floor radiates, about half and half."""

SHARES: Final = {"alone": 1.0, "four": 0.7, "block": 0.5}
"""Share of the side that trades heat with the air, by how the drums stand.

Of four that touch, radiation leaves by (8 + 2π)/8π = 0.57 of their sides (Hottel's crossed strings:
the string round all four over their sum); air gets into most of the gaps. Of a block only air gets
to the inner sides, and slowly (our judgement; domain tables say half to three quarters).
"""

BLANKET_R_M2K_W: Final = 0.33
"""13 mm of glass fibre at 0.04 W/(m K), our reckoning of a plain drum blanket."""

MOST_BLANKET_R_M2K_W: Final = 5.0
"""200 mm of it: more is a mistake."""


@dataclass(frozen=True)
class Setting:
    """Where a drum stands.

    ``motion`` is ``still``, ``fan``, ``moving`` or ``windy``; ``wind_m_s`` replaces the speed that
    the word stands for; ``standing`` is ``pallet``, ``slab`` or ``truck_floor``; ``share`` 0-1 of
    the side sees the air (``SHARES``); ``blanket_r_m2k_w`` lies over side and top.
    """

    motion: str = "still"
    standing: str = "pallet"
    share: float = 1.0
    wind_m_s: float | None = None
    blanket_r_m2k_w: float = 0.0
    emissivity: float = PAINT_EMISSIVITY

    @property
    def speed_m_s(self) -> float:
        """Speed of the air at the drum; 0 where it is still."""
        if self.motion == "still":
            return 0.0
        return SPEED_M_S[self.motion] if self.wind_m_s is None else self.wind_m_s


@dataclass(frozen=True)
class Exposure:
    """Films in W/(m² K): side (outside film only), top and bottom (air to liquid).

    The bottom faces the floor to the extent of ``floor_share``, else the air.
    """

    side_w_m2k: float
    top_w_m2k: float
    bottom_w_m2k: float
    floor_share: float = 1.0


def side_film(setting: Setting, *, surface_c: Numbers, air_c: Numbers) -> Numbers:
    """Film of air on the bare side, free, forced and radiation, W/(m² K)."""
    radiative = radiation_film(mean_c=0.5 * (surface_c + air_c), emissivity=setting.emissivity)
    free = still_air_film(surface_c=surface_c, air_c=air_c, height_m=DRUM_INSIDE_HEIGHT_M)
    if setting.speed_m_s == 0.0:
        return free + radiative
    forced = cross_flow_film(
        speed_m_s=setting.speed_m_s,
        air_c=0.5 * (surface_c + air_c),
        diameter_m=2.0 * DRUM_RADIUS_M,
    )
    return mixed(forced=forced, free=free, exponent=SIDE_BLEND) + radiative


def lid_film(setting: Setting, *, surface_c: Numbers, air_c: Numbers) -> Numbers:
    """Film of air on the bare lid, free, forced and radiation, W/(m² K)."""
    radiative = radiation_film(mean_c=0.5 * (surface_c + air_c), emissivity=setting.emissivity)
    free = still_lid_film(surface_c=surface_c, air_c=air_c, diameter_m=2.0 * DRUM_RADIUS_M)
    if setting.speed_m_s == 0.0:
        return free + radiative
    forced = flat_plate_film(
        speed_m_s=setting.speed_m_s,
        air_c=0.5 * (surface_c + air_c),
        length_m=2.0 * DRUM_RADIUS_M,
    )
    return mixed(forced=forced, free=free, exponent=LID_BLEND) + radiative


def through_side(film: Numbers, *, share: Numbers, blanket_r_m2k_w: Numbers) -> Numbers:
    """Air-to-wall film of the whole side, W/(m² K): blanket in series, then the share exposed."""
    return share / (1.0 / film + blanket_r_m2k_w)


def through_top(film: Numbers, *, blanket_r_m2k_w: Numbers) -> Numbers:
    """Air-to-liquid film of the top, W/(m² K): lid film, blanket and headspace in series."""
    return 1.0 / (1.0 / film + blanket_r_m2k_w + 1.0 / HEADSPACE_FILM_W_M2K)


def exposure(
    setting: Setting,
    *,
    surface_c: float = REFERENCE_SURFACE_C,
    air_c: float = REFERENCE_AIR_C,
) -> Exposure:
    """Return the films of a drum in a setting, at one state of its surface and the air."""
    side = side_film(setting, surface_c=surface_c, air_c=air_c)
    lid = lid_film(setting, surface_c=surface_c, air_c=air_c)
    blanket = setting.blanket_r_m2k_w
    return Exposure(
        side_w_m2k=float(through_side(side, share=setting.share, blanket_r_m2k_w=blanket)),
        top_w_m2k=float(through_top(lid, blanket_r_m2k_w=blanket)),
        bottom_w_m2k=BOTTOM_FILM_W_M2K[setting.standing],
        floor_share=FLOOR_SHARE[setting.standing],
    )


def out_of_range(setting: Setting, *, surface_c: Numbers, air_c: Numbers) -> tuple[str, ...]:
    """Say in sentences which argument of which correlation lies outside its published range.

    A surface within ``NO_DRIVE_K`` of the air is passed over: there free convection carries next
    to nothing and radiation stands alone.
    """
    surface, air = np.broadcast_arrays(np.atleast_1d(surface_c), np.atleast_1d(air_c))
    mean = 0.5 * (surface + air)
    found = [outside("air_c", np.concatenate([air, mean]))]
    driven = np.abs(surface - air) > NO_DRIVE_K
    if driven.any():
        found += _free_out_of_range(surface[driven], air[driven])
    if setting.speed_m_s > 0.0:
        viscosity = air_at(mean).kinematic_viscosity_m2_s
        reynolds = setting.speed_m_s * 2.0 * DRUM_RADIUS_M / viscosity
        found += [outside("cross_flow", reynolds), outside("flat", reynolds)]
    return tuple(sentence for sentence in found if sentence is not None)


NO_DRIVE_K: Final = 0.5


def _free_out_of_range(surface: Floats, air: Floats) -> list[str | None]:
    diameter, height = 2.0 * DRUM_RADIUS_M, DRUM_INSIDE_HEIGHT_M
    side = air_rayleigh(surface_c=surface, air_c=air, length_m=height)
    lid = air_rayleigh(surface_c=surface, air_c=air, length_m=0.25 * diameter)
    grashof = side / air_at(0.5 * (surface + air)).prandtl
    slender = plate_form(grashof_number=grashof, diameter_m=diameter, height_m=height)
    found = [outside("plate", side), outside("slender", slender)]
    for name, chosen in (("lid_up", surface > air), ("lid_down", surface < air)):
        if chosen.any():
            found.append(outside(name, np.asarray(lid)[chosen]))
    return found
