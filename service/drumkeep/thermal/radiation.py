"""Radiation between a painted drum and its surroundings, as a film coefficient."""

from drumkeep.thermal.constants import PAINT_EMISSIVITY, STEFAN_BOLTZMANN_W_M2K4, ZERO_C_K


def radiation_film(*, mean_c: float, emissivity: float = PAINT_EMISSIVITY) -> float:
    """Linearised radiation coefficient 4 ε σ T³, W/(m² K), at the mean of the two temperatures."""
    return 4.0 * emissivity * STEFAN_BOLTZMANN_W_M2K4 * (mean_c + ZERO_C_K) ** 3
