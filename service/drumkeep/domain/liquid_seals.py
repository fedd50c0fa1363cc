"""What is shut in above a drum's liquid: sealing it, opening it, dry gas on top.

A drum that liquid was poured into or out of was opened for that, and is sealed anew as it is then.
A weighing only says how much is in it: the headspace at sealing is reckoned from the new mass, for
else a drum weighed lighter would seem to pull a vacuum.
"""

import numpy as np

from drumkeep.domain.liquid_pressure import pressure_inputs
from drumkeep.domain.liquid_state import LiquidStates, likely_mean
from drumkeep.domain.products import Product
from drumkeep.thermal.headspace import FILL_C

RECEIVED_SEAL_C = FILL_C
"""A received drum counts as sealed at 20 °C at its received fill."""


def seal(
    states: LiquidStates,
    product: Product,
    *,
    site_kpa: float,
    at_c: float | None = None,
    blanket_kpa: float = 0.0,
) -> None:
    """Seal one drum (shape (1,)) in place, its headspace saturated with agent.

    Parameters
    ----------
    states, product
        Its record, and what is in it.
    site_kpa
        Air pressure where it is sealed, kPa.
    at_c
        Liquid temperature, °C; None for its likely mean, or 20 °C where that is not known.
    blanket_kpa
        Dry gas put on top, kPa gauge.
    """
    states["sealed"] = True
    states["regulated_kpa"] = np.nan
    states["seal_c"] = _mean(states) if at_c is None else at_c
    states["seal_blanket_kpa"] = blanket_kpa
    states["seal_saturation"] = 1.0
    states["seal_site_kpa"] = site_kpa
    reckon_headspace(states, product)


def reseal(states: LiquidStates, product: Product, *, site_kpa: float) -> None:
    """Close one drum in place; what a regulator held until then is sealed in."""
    held = float(states["regulated_kpa"][0])
    seal(states, product, site_kpa=site_kpa, blanket_kpa=held if np.isfinite(held) else 0.0)


def vent(states: LiquidStates, product: Product, *, site_kpa: float) -> None:
    """Let one drum's pressure out and close it, in place; a regulator fills it up again."""
    if not np.isfinite(states["regulated_kpa"][0]):
        seal(states, product, site_kpa=site_kpa)


def regulate(states: LiquidStates, *, kpa: float) -> None:
    """Put one drum under dry gas from a regulator, in place."""
    states["regulated_kpa"] = kpa
    states["sealed"] = False


def unseal(states: LiquidStates) -> None:
    """Open one drum in place."""
    states["sealed"] = False
    states["opened"] = True


def seal_anew(states: LiquidStates, product: Product, *, site_kpa: float) -> None:
    """Seal one drum as it is after liquid was poured, in place, if it was sealed before."""
    if states["sealed"][0]:
        seal(states, product, site_kpa=site_kpa)


def reckon_headspace(states: LiquidStates, product: Product) -> None:
    """Reckon the headspace that one drum had when it was sealed from its mass, in place."""
    states["seal_headspace_m3"] = pressure_inputs([product]).headspace_m3(
        states["mass_kg"], temperature_c=states["seal_c"]
    )


def _mean(states: LiquidStates) -> float:
    mean = float(likely_mean(states)[0])
    return mean if np.isfinite(mean) else RECEIVED_SEAL_C
