"""Slow, likely and fast: the same drum three times, with what is not known moved to its ends.

The slow set resists heat most (weak film, much capacity, thick liquid), the fast set least. The
ranges are of the properties' sources: k was published with one significant digit (±15 %), viscosity
grades differ by half, films by a quarter where the air's motion is only named.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.properties import Row
from drumkeep.thermal.stratified import Liquid

Floats = NDArray[np.float64]

SETS: Final = 3
SLOW: Final = 0
LIKELY: Final = 1
FAST: Final = 2


NAMED_FILM_RANGE: Final = 1.25
GIVEN_FILM_RANGE: Final = 1.10


@dataclass(frozen=True)
class Spread:
    """Relative half-ranges of what is not known; each as a factor, 1.25 for a quarter.

    ``film`` may differ by drum, shape (drum,).
    """

    film: Floats | float = NAMED_FILM_RANGE
    specific_heat: float = 1.04
    conductivity: float = 1.15
    expansion: float = 1.10
    viscosity: float = 1.5


NAMED_SETTING: Final = Spread()
"""Films chosen by the place's motion and standing."""

GIVEN_EXPOSURE: Final = Spread(film=GIVEN_FILM_RANGE)
"""Films given as numbers in W/(m² K)."""


def spread_out(likely: Liquid, *, spread: Spread) -> Liquid:
    """Return the liquid with a leading axis of slow, likely, fast (arrays become (3, drum)).

    The tables become three times as many, likely first.
    """
    count = len(likely.tables)

    def same(value: Floats) -> Floats:
        return np.broadcast_to(value, (SETS, *np.shape(value)))

    return Liquid(
        mass_kg=same(likely.mass_kg),
        tables=np.concatenate(
            [likely.tables, _moved(likely.tables, spread, -1), _moved(likely.tables, spread, 1)]
        ),
        number=np.stack([likely.number + count, likely.number, likely.number + 2 * count]),
        side_w_m2k=apart(likely.side_w_m2k, spread.film),
        top_w_m2k=apart(likely.top_w_m2k, spread.film),
        bottom_w_m2k=apart(likely.bottom_w_m2k, spread.film),
        steel_kg=same(likely.steel_kg),
    )


def apart(likely: Floats, factor: Floats | float) -> Floats:
    """Return slow, likely and fast of what lets heat through, as a leading axis."""
    return np.stack([likely / factor, likely, likely * factor])


def _moved(tables: Floats, spread: Spread, way: int) -> Floats:
    """Return the tables with each property at its slow (−1) or fast (1) end."""
    moved = tables.copy()
    moved[:, Row.SPECIFIC_HEAT] /= spread.specific_heat**way
    moved[:, Row.CONDUCTIVITY] *= spread.conductivity**way
    moved[:, Row.EXPANSION] *= spread.expansion**way
    moved[:, Row.VISCOSITY] /= spread.viscosity**way
    return moved
