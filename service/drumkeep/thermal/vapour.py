"""Vapour pressure of blowing agents, and the share of it a blend shows.

Antoine fits to CoolProp 8.0.0 on −20…60 °C (largest error 0.12 %), so that the service need not
carry that library; ``tests/reference`` holds them against published points.
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Agent:
    """A blowing agent: log10(p/kPa) = a − b/(t/°C + c), molar mass in g/mol."""

    molar_mass: float
    a: float
    b: float
    c: float


AGENTS: Final = {
    "CFC-11": Agent(137.37, 6.00110, 1037.129, 235.875),
    "HCFC-141b": Agent(116.95, 6.01475, 1053.154, 230.649),
    "HFC-245fa": Agent(134.05, 6.20718, 1014.733, 226.469),
    "HFC-365mfc": Agent(148.07, 6.14906, 1099.353, 225.136),
    "HCFO-1233zd(E)": Agent(130.50, 6.09120, 1019.978, 231.528),
    "HFO-1336mzz(Z)": Agent(164.06, 6.08897, 1047.801, 223.156),
    "HFO-1336mzz(E)": Agent(164.05, 6.09100, 947.206, 223.979),
    "cyclopentane": Agent(70.133, 6.03287, 1135.336, 232.671),
    "n-pentane": Agent(72.149, 5.99024, 1071.032, 232.739),
    "isopentane": Agent(72.149, 5.95388, 1037.889, 235.053),
}


def vapour_pressure_kpa(agent: str, *, temperature_c: float) -> float:
    """Saturation pressure of a pure agent, kPa absolute, −20…60 °C."""
    fit = AGENTS[agent]
    return float(10.0 ** (fit.a - fit.b / (temperature_c + fit.c)))


def mole_fraction(agent: str, *, mass_fraction: float, polyol_molar_mass: float) -> float:
    """Mole fraction of agent in a resin (Raoult's basis), from its mass fraction."""
    of_agent = mass_fraction / AGENTS[agent].molar_mass
    return of_agent / (of_agent + (1.0 - mass_fraction) / polyol_molar_mass)
