"""The exact series of a solid cylinder, summed with scipy's roots and Bessel functions.

The excess over the air is the product of a plane wall's and a long cylinder's (Incropera et al.,
sections 5.5 to 5.8), each relative to a start that is the same all over.
"""

import math

import numpy as np
from scipy import optimize, special

TERMS = 200


def _wall_terms(biot):
    for n in range(TERMS):
        z = optimize.brentq(
            lambda z: z * math.sin(z) - biot * math.cos(z), n * math.pi, (n + 0.5) * math.pi
        )
        yield z, 4.0 * math.sin(z) / (2.0 * z + math.sin(2.0 * z))


def _cylinder_terms(biot):
    highest = special.jn_zeros(0, TERMS)
    lowest = np.concatenate([[0.0], special.jn_zeros(1, TERMS - 1)])
    for low, high in zip(lowest, highest, strict=True):
        z = optimize.brentq(lambda z: z * special.j1(z) - biot * special.j0(z), low, high)
        j0, j1 = special.j0(z), special.j1(z)
        yield z, (2.0 / z) * j1 / (j0**2 + j1**2)


def wall_at(x, *, fourier, biot):
    """Return the excess at x/L from the middle of a wall of half-thickness L."""
    return sum(
        c * np.cos(z * np.asarray(x)) * math.exp(-(z**2) * fourier) for z, c in _wall_terms(biot)
    )


def wall_layers(count, *, fourier, biot):
    """Return the mean excess of equal layers of a wall, from one face to the other."""
    edges = np.linspace(-1.0, 1.0, count + 1)
    width = 2.0 / count
    return sum(
        c * np.diff(np.sin(z * edges)) / (z * width) * math.exp(-(z**2) * fourier)
        for z, c in _wall_terms(biot)
    )


def cylinder_at(r, *, fourier, biot):
    """Return the excess at r/R from the axis of a long cylinder."""
    return sum(
        c * special.j0(z * np.asarray(r)) * math.exp(-(z**2) * fourier)
        for z, c in _cylinder_terms(biot)
    )


def cylinder_mean(*, fourier, biot):
    """Return the mean excess of a long cylinder."""
    return sum(
        c * 2.0 * special.j1(z) / z * math.exp(-(z**2) * fourier) for z, c in _cylinder_terms(biot)
    )
