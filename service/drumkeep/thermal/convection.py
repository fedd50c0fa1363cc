"""Convection films from published correlations: a function each, with range and reference.

References
----------
.. [1] Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1323; in Incropera et al., ch. 9.
.. [2] Evans and Stefany (1966), quoted in Holman, Heat Transfer, ch. 7.
.. [3] Churchill and Bernstein, J. Heat Transfer 99 (1977) 300; in Incropera et al., ch. 7.
"""

from dataclasses import dataclass

from drumkeep.thermal.constants import GRAVITY_M_S2, ZERO_C_K


@dataclass(frozen=True)
class Air:
    """Dry air at 1 atm: conductivity W/(m K), kinematic viscosity m²/s, Prandtl number."""

    conductivity_w_mk: float
    kinematic_viscosity_m2_s: float
    prandtl: float


def air_at(temperature_c: float) -> Air:
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
    expansion_1_k: float,
    difference_k: float,
    length_m: float,
    kinematic_viscosity_m2_s: float,
    diffusivity_m2_s: float,
) -> float:
    """Rayleigh number g β ΔT L³ / (ν α)."""
    buoyancy = GRAVITY_M_S2 * expansion_1_k * difference_k * length_m**3
    return buoyancy / (kinematic_viscosity_m2_s * diffusivity_m2_s)


def nusselt_vertical_plate(*, rayleigh_number: float, prandtl: float) -> float:
    """Mean Nusselt number of a vertical plate over its height, all Ra, Churchill and Chu [1]_."""
    spread = (1.0 + (0.492 / prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    return float((0.825 + 0.387 * rayleigh_number ** (1.0 / 6.0) / spread) ** 2)


def nusselt_closed_cylinder(*, rayleigh_number: float) -> float:
    """Wall-to-bulk Nusselt number of a closed upright cylinder of liquid, 0.75 < L/D < 2 [2]_."""
    return float(0.55 * rayleigh_number**0.25)


def nusselt_cross_flow(*, reynolds_number: float, prandtl: float) -> float:
    """Mean Nusselt number of a cylinder in cross flow over its diameter, Re·Pr > 0.2 [3]_."""
    laminar = 0.62 * reynolds_number**0.5 * prandtl ** (1.0 / 3.0)
    spread = (1.0 + (0.4 / prandtl) ** (2.0 / 3.0)) ** 0.25
    turbulent = (1.0 + (reynolds_number / 282_000.0) ** (5.0 / 8.0)) ** (4.0 / 5.0)
    return float(0.3 + laminar / spread * turbulent)


def still_air_film(*, surface_c: float, air_c: float, height_m: float) -> float:
    """Free-convection film W/(m² K) on a vertical wall of this height in still air [1]_."""
    mean_c = 0.5 * (surface_c + air_c)
    air = air_at(mean_c)
    ra = rayleigh(
        expansion_1_k=1.0 / (mean_c + ZERO_C_K),
        difference_k=abs(surface_c - air_c),
        length_m=height_m,
        kinematic_viscosity_m2_s=air.kinematic_viscosity_m2_s,
        diffusivity_m2_s=air.kinematic_viscosity_m2_s / air.prandtl,
    )
    nusselt = nusselt_vertical_plate(rayleigh_number=ra, prandtl=air.prandtl)
    return nusselt * air.conductivity_w_mk / height_m


def cross_flow_film(*, speed_m_s: float, air_c: float, diameter_m: float) -> float:
    """Forced-convection film W/(m² K) on an upright drum in moving air [3]_."""
    air = air_at(air_c)
    reynolds = speed_m_s * diameter_m / air.kinematic_viscosity_m2_s
    nusselt = nusselt_cross_flow(reynolds_number=reynolds, prandtl=air.prandtl)
    return nusselt * air.conductivity_w_mk / diameter_m
