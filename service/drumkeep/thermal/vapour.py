"""Vapour pressure of blowing agents, and the share of it a blend shows.

Antoine fits to CoolProp 8.0.0 on −20…60 °C (largest error 0.12 %), so that the service need not
carry that library; ``tests/reference`` holds them against it over that range.
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Agent:
    """A blowing agent: log10(p/kPa) = a − b/(t/°C + c), molar mass in g/mol.

    The fit holds from ``low_c`` to ``high_c``, °C; beyond, whoever shows a pressure says so.
    """

    molar_mass: float
    a: float
    b: float
    c: float
    low_c: float = -20.0
    high_c: float = 60.0
    name: str = ""

    def pressure_kpa(self, temperature_c: float) -> float:
        """Saturation pressure of the pure agent, kPa absolute."""
        return float(10.0 ** (self.a - self.b / (temperature_c + self.c)))

    def mole_fraction(self, *, mass_fraction: float, polyol_molar_mass: float) -> float:
        """Mole fraction of the agent in a resin (Raoult's basis), from its mass fraction."""
        of_agent = mass_fraction / self.molar_mass
        return of_agent / (of_agent + (1.0 - mass_fraction) / polyol_molar_mass)


_FITS: Final = (
    Agent(137.37, 6.00110, 1037.129, 235.875, name="CFC-11"),
    Agent(116.95, 6.01475, 1053.154, 230.649, name="HCFC-141b"),
    Agent(134.05, 6.20718, 1014.733, 226.469, name="HFC-245fa"),
    Agent(148.07, 6.14906, 1099.353, 225.136, name="HFC-365mfc"),
    Agent(130.50, 6.09120, 1019.978, 231.528, name="HCFO-1233zd(E)"),
    Agent(164.06, 6.08897, 1047.801, 223.156, name="HFO-1336mzz(Z)"),
    Agent(164.05, 6.09100, 947.206, 223.979, name="HFO-1336mzz(E)"),
    Agent(70.133, 6.03287, 1135.336, 232.671, name="cyclopentane"),
    Agent(72.149, 5.99024, 1071.032, 232.739, name="n-pentane"),
    Agent(72.149, 5.95388, 1037.889, 235.053, name="isopentane"),
)

AGENTS: Final = {fit.name: fit for fit in _FITS}
"""Agents that a product may name; one that is not here a product brings itself."""
