"""Convection films from published correlations: a function each, with range and reference.

Every function takes numbers or arrays. ``RANGES`` says for which arguments the correlations were
published; ``outside`` tells in a sentence which argument lies beyond.

References
----------
.. [1] Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1323; in Incropera et al., ch. 9.
.. [2] Evans and Stefany (1966), quoted in Holman, Heat Transfer, ch. 7.
.. [3] Churchill and Bernstein, J. Heat Transfer 99 (1977) 300; in Incropera et al., ch. 7.
.. [4] McAdams, Heat Transmission, 3rd ed. (1954); in Incropera et al., ch. 9.
.. [5] Incropera et al., ch. 7: parallel flow over a flat plate, laminar (7.30) and mixed (7.38).
.. [6] Incropera et al., section 9.9, after Churchill, AIChE J. 23 (1977) 10.
"""

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.constants import GRAVITY_M_S2, ZERO_C_K

Floats = NDArray[np.float64]
Numbers = float | Floats

TURBULENT_LID_RAYLEIGH: Final = 1e7
TURBULENT_PLATE_REYNOLDS: Final = 5e5

SIDE_BLEND: Final = 3.0
LID_BLEND: Final = 3.5
"""Exponents n of Nuⁿ = Nu_forcedⁿ + Nu_freeⁿ: 3 in general, 7/2 for a horizontal plate [6]_."""

SLENDER: Final = 35.0
"""An upright cylinder is as a plate where D/L ≥ 35/Gr^¼ (Incropera et al., section 9.6.1)."""


class Range(NamedTuple):
    """From where to where a correlation was published, for which argument in which unit."""

    what: str
    low: float
    high: float
    of: str
    unit: str = ""


RANGES: Final = {
    "air_c": Range("temperature of the air", -50.0, 100.0, "Sutherland's laws", " °C"),
    "plate": Range("Rayleigh number of the side", 0.1, 1e12, "Churchill and Chu"),
    "lid_up": Range("Rayleigh number of a lid that warms the air", 1e4, 1e11, "McAdams"),
    "lid_down": Range("Rayleigh number of a lid that cools the air", 1e5, 1e10, "McAdams"),
    "cross_flow": Range("Reynolds number of the wind", 1e2, 1e7, "Churchill and Bernstein"),
    "flat": Range("Reynolds number of the wind over the lid", 1e3, 1e8, "the flat plate"),
    "slender": Range("breadth of the side for its height", 1.0, 1e9, "the plate form"),
}


def outside(name: str, value: Numbers) -> str | None:
    """Say that an argument lies outside the range that its correlation was published for.

    Parameters
    ----------
    name
        Key in ``RANGES``.
    value
        One or more values of the argument.

    Returns
    -------
    str | None
        A sentence; None where every value is inside.
    """
    what, low, high, of, unit = RANGES[name]
    lowest, highest = float(np.min(value)), float(np.max(value))
    if low <= lowest and highest <= high:
        return None
    worst = lowest if lowest < low else highest
    return (
        f"The {what} is {worst:.3g}{unit}, outside the {low:g} to {high:g}{unit} of {of}: the film "
        "is less certain."
    )


@dataclass(frozen=True)
class Air:
    """Dry air at 1 atm: conductivity W/(m K), kinematic viscosity m²/s, Prandtl number."""

    conductivity_w_mk: Numbers
    kinematic_viscosity_m2_s: Numbers
    prandtl: Numbers


def air_at(temperature_c: Numbers) -> Air:
    """Return dry air at 1 atm by Sutherland's laws (White, Viscous Fluid Flow), −50 to 100 °C."""
    kelvin = temperature_c + ZERO_C_K
    viscosity = 1.716e-5 * (kelvin / 273.0) ** 1.5 * (273.0 + 111.0) / (kelvin + 111.0)
    conductivity = 0.0241 * (kelvin / 273.0) ** 1.5 * (273.0 + 194.0) / (kelvin + 194.0)
    density = 101325.0 / (287.05 * kelvin)
    return Air(
        conductivity_w_mk=conductivity,
        kinematic_viscosity_m2_s=viscosity / density,
        prandtl=viscosity * 1006.0 / conductivity,
    )


def rayleigh(
    *,
    expansion_1_k: Numbers,
    difference_k: Numbers,
    length_m: float,
    kinematic_viscosity_m2_s: Numbers,
    diffusivity_m2_s: Numbers,
) -> Numbers:
    """Rayleigh number g β ΔT L³ / (ν α)."""
    buoyancy = GRAVITY_M_S2 * expansion_1_k * difference_k * length_m**3
    return buoyancy / (kinematic_viscosity_m2_s * diffusivity_m2_s)


def air_rayleigh(*, surface_c: Numbers, air_c: Numbers, length_m: float) -> Numbers:
    """Rayleigh number of a surface in air, properties at the mean of the two."""
    mean_c = 0.5 * (surface_c + air_c)
    air = air_at(mean_c)
    return rayleigh(
        expansion_1_k=1.0 / (mean_c + ZERO_C_K),
        difference_k=np.abs(surface_c - air_c),
        length_m=length_m,
        kinematic_viscosity_m2_s=air.kinematic_viscosity_m2_s,
        diffusivity_m2_s=air.kinematic_viscosity_m2_s / air.prandtl,
    )


def nusselt_vertical_plate(*, rayleigh_number: Numbers, prandtl: Numbers) -> Numbers:
    """Mean Nusselt number of a vertical plate over its height, Ra 0.1 to 1e12 [1]_."""
    spread = (1.0 + (0.492 / prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    return (0.825 + 0.387 * rayleigh_number ** (1.0 / 6.0) / spread) ** 2


def plate_form(*, grashof_number: Numbers, diameter_m: float, height_m: float) -> Numbers:
    """How far an upright cylinder is from being slender: 1 or more lets it count as a plate."""
    return diameter_m / height_m * grashof_number**0.25 / SLENDER


def nusselt_lid(*, rayleigh_number: Numbers, warms_air: bool | NDArray[np.bool_]) -> Numbers:
    """Mean Nusselt number of a plate that faces up, over area/perimeter = D/4 [4]_.

    A plate warmer than the air: 0.54 Ra^¼ (1e4 to 1e7), 0.15 Ra^⅓ (to 1e11); a colder one, on
    which the cold air lies: 0.27 Ra^¼ (1e5 to 1e10).
    """
    up = np.where(
        rayleigh_number <= TURBULENT_LID_RAYLEIGH,
        0.54 * rayleigh_number**0.25,
        0.15 * rayleigh_number ** (1.0 / 3.0),
    )
    return np.where(warms_air, up, 0.27 * rayleigh_number**0.25)


def nusselt_closed_cylinder(*, rayleigh_number: Numbers) -> Numbers:
    """Wall-to-bulk Nusselt number of a closed upright cylinder of liquid, 0.75 < L/D < 2 [2]_."""
    return 0.55 * rayleigh_number**0.25


def nusselt_cross_flow(*, reynolds_number: Numbers, prandtl: Numbers) -> Numbers:
    """Mean Nusselt number of a cylinder in cross flow over its diameter, Re 1e2 to 1e7 [3]_."""
    laminar = 0.62 * reynolds_number**0.5 * prandtl ** (1.0 / 3.0)
    spread = (1.0 + (0.4 / prandtl) ** (2.0 / 3.0)) ** 0.25
    turbulent = (1.0 + (reynolds_number / 282_000.0) ** (5.0 / 8.0)) ** (4.0 / 5.0)
    return 0.3 + laminar / spread * turbulent


def nusselt_flat_plate(*, reynolds_number: Numbers, prandtl: Numbers) -> Numbers:
    """Mean Nusselt number of a flat plate along the wind, over its length, Re to 1e8 [5]_."""
    turbulent = 0.037 * np.maximum(reynolds_number, TURBULENT_PLATE_REYNOLDS) ** 0.8 - 871.0
    laminar = 0.664 * reynolds_number**0.5
    core = np.where(reynolds_number <= TURBULENT_PLATE_REYNOLDS, laminar, turbulent)
    return np.asarray(core * prandtl ** (1.0 / 3.0), dtype=np.float64)


def mixed(*, forced: Numbers, free: Numbers, exponent: float) -> Numbers:
    """Combine forced and free convection across each other [6]_; films or Nusselt numbers."""
    return (forced**exponent + free**exponent) ** (1.0 / exponent)


def still_air_film(*, surface_c: Numbers, air_c: Numbers, height_m: float) -> Numbers:
    """Free-convection film W/(m² K) on a vertical wall of this height in still air [1]_."""
    air = air_at(0.5 * (surface_c + air_c))
    ra = air_rayleigh(surface_c=surface_c, air_c=air_c, length_m=height_m)
    nusselt = nusselt_vertical_plate(rayleigh_number=ra, prandtl=air.prandtl)
    return nusselt * air.conductivity_w_mk / height_m


def still_lid_film(*, surface_c: Numbers, air_c: Numbers, diameter_m: float) -> Numbers:
    """Free-convection film W/(m² K) on a round lid that faces up [4]_."""
    length = 0.25 * diameter_m
    air = air_at(0.5 * (surface_c + air_c))
    ra = air_rayleigh(surface_c=surface_c, air_c=air_c, length_m=length)
    nusselt = nusselt_lid(rayleigh_number=ra, warms_air=np.asarray(surface_c > air_c))
    return nusselt * air.conductivity_w_mk / length


def cross_flow_film(*, speed_m_s: float, air_c: Numbers, diameter_m: float) -> Numbers:
    """Forced-convection film W/(m² K) on the side of an upright drum in moving air [3]_."""
    air = air_at(air_c)
    reynolds = speed_m_s * diameter_m / air.kinematic_viscosity_m2_s
    nusselt = nusselt_cross_flow(reynolds_number=reynolds, prandtl=air.prandtl)
    return nusselt * air.conductivity_w_mk / diameter_m


def flat_plate_film(*, speed_m_s: float, air_c: Numbers, length_m: float) -> Numbers:
    """Forced-convection film W/(m² K) on a lid under moving air [5]_."""
    air = air_at(air_c)
    reynolds = speed_m_s * length_m / air.kinematic_viscosity_m2_s
    nusselt = nusselt_flat_plate(reynolds_number=reynolds, prandtl=air.prandtl)
    return nusselt * air.conductivity_w_mk / length_m
