"""One-term conduction in a plane wall and a long cylinder: how solids or gel would warm.

After a while (Fo > 0.2) the excess over the air is C exp(−z² Fo) at the middle, with z the first
root of the boundary condition and C the coefficient that follows from it.

References
----------
.. [1] Incropera, DeWitt, Bergman and Lavine, Fundamentals of Heat and Mass Transfer, sections 5.5
   and 5.6, table 5.1.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

FIRST_ZERO_J0: Final = 2.404825557695773
"""First zero of J0 (Abramowitz and Stegun, table 9.5)."""

_ANGLES: Final = (np.arange(64) + 0.5) * (math.pi / 64.0)
_HALVINGS: Final = 60


@dataclass(frozen=True)
class Term:
    """First root z, radians, and coefficient C of the one-term solution, both dimensionless."""

    root: float
    coefficient: float


def plane_wall(*, biot: float) -> Term:
    """First term of a plane wall of half-thickness L, z tan z = Bi [1]_.

    Parameters
    ----------
    biot
        h L / k, above 0; infinite for a surface held at the air's temperature.
    """
    given, free = _weights(biot)
    root = _first_root(
        lambda z: free * z * math.sin(z) - given * math.cos(z), highest=0.5 * math.pi
    )
    return Term(root, 4.0 * math.sin(root) / (2.0 * root + math.sin(2.0 * root)))


def long_cylinder(*, biot: float) -> Term:
    """First term of a long cylinder of radius R, z J1(z) = Bi J0(z) [1]_.

    Parameters
    ----------
    biot
        h R / k, above 0; infinite for a surface held at the air's temperature.
    """
    given, free = _weights(biot)
    root = _first_root(
        lambda z: free * z * bessel_j(1, z) - given * bessel_j(0, z), highest=FIRST_ZERO_J0
    )
    j0, j1 = bessel_j(0, root), bessel_j(1, root)
    return Term(root, 2.0 / root * j1 / (j0**2 + j1**2))


def bessel_j(order: int, argument: float) -> float:
    """Bessel function of the first kind by its integral, to 1e-15 for arguments up to 10.

    (1/π) ∫ cos(n τ − x sin τ) dτ over 0…π (Abramowitz and Stegun, 9.1.21); the integrand is
    periodic and smooth, so that equal steps converge faster than any power.
    """
    return float(np.cos(order * _ANGLES - argument * np.sin(_ANGLES)).mean())


def _weights(biot: float) -> tuple[float, float]:
    """Bi/(1 + Bi) and 1/(1 + Bi): the condition stays finite for an infinite Biot number."""
    return (1.0, 0.0) if math.isinf(biot) else (biot / (1.0 + biot), 1.0 / (1.0 + biot))


def _first_root(condition: Callable[[float], float], *, highest: float) -> float:
    """Root of a condition that is negative at 0 and not at ``highest``, by halving."""
    low, high = 0.0, highest
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if condition(middle) < 0.0:
            low = middle
        else:
            high = middle
    return high
