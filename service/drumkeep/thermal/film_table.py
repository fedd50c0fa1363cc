"""Films at the actual temperatures, by table: cheap enough for every drum at every step.

The correlations are worked out once for each place over air and over liquid less air, and read
between the nodes on straight lines. The second axis is the signed square root of the difference,
because free convection rises steepest where it begins.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.thermal.boundary import Setting, lid_film, side_film

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

WALL_SHARE: Final = 0.5
"""The wall lies about half-way from air to liquid: the films outside and inside are of one order
(Evans and Stefany give 8-18 W/(m² K) inside, still air about 8 outside)."""

_AIR_C: Final = np.arange(-60.0, 61.0, 10.0)
_ROOT_K: Final = np.arange(-8.0, 8.1, 0.5)
_ROOTS_PER_NODE: Final = 2.0
_AIR_PER_NODE: Final = 0.1


@dataclass(frozen=True)
class FilmTable:
    """Bare films of side and lid, W/(m² K), shape (place, air, root of difference)."""

    side: Floats
    lid: Floats

    def at(self, place: Indices, *, air_c: Floats, liquid_c: Floats) -> tuple[Floats, Floats]:
        """Return the films of side and lid, W/(m² K), of drums at places.

        Parameters
        ----------
        place
            Row of each drum's place, shape (drum,).
        air_c, liquid_c
            Air round and mean of the liquid in each drum, °C, shape (drum,); held at the table's
            edges, -60 and 60 °C of air and 64 K of difference.
        """
        difference = liquid_c - air_c
        root = np.sign(difference) * np.sqrt(np.abs(difference))
        i, a = _node((air_c - _AIR_C[0]) * _AIR_PER_NODE, len(_AIR_C))
        j, b = _node((root - _ROOT_K[0]) * _ROOTS_PER_NODE, len(_ROOT_K))
        weights = ((1.0 - a) * (1.0 - b), a * (1.0 - b), (1.0 - a) * b, a * b)
        corners = ((i, j), (i + 1, j), (i, j + 1), (i + 1, j + 1))
        side, lid = np.zeros_like(root), np.zeros_like(root)
        for weight, (row, column) in zip(weights, corners, strict=True):
            side += weight * self.side[place, row, column]
            lid += weight * self.lid[place, row, column]
        return side, lid


def _node(position: Floats, count: int) -> tuple[Indices, Floats]:
    """Return the node at or below a position on an axis, and how far beyond it, 0-1."""
    inside = np.clip(position, 0.0, count - 1.0)
    node = np.minimum(inside.astype(np.intp), count - 2)
    return node, inside - node


def film_table(settings: Sequence[Setting]) -> FilmTable:
    """Work the films of some settings out; their share and blanket do not enter."""
    difference = np.sign(_ROOT_K) * _ROOT_K**2
    air = np.broadcast_to(_AIR_C[:, None], (len(_AIR_C), len(_ROOT_K)))
    surface = air + WALL_SHARE * difference
    sides: dict[tuple[float, float], tuple[Floats, Floats]] = {}
    for setting in settings:
        key = (setting.speed_m_s, setting.emissivity)
        if key not in sides:
            sides[key] = (
                np.asarray(side_film(setting, surface_c=surface, air_c=air)),
                np.asarray(lid_film(setting, surface_c=surface, air_c=air)),
            )
    own = [sides[setting.speed_m_s, setting.emissivity] for setting in settings]
    empty = np.empty((0, len(_AIR_C), len(_ROOT_K)))
    return FilmTable(
        side=np.stack([side for side, _ in own]) if own else empty,
        lid=np.stack([lid for _, lid in own]) if own else empty,
    )
