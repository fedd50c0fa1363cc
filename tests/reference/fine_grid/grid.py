"""Cells of an upright cylinder of liquid: thin at the side, the bottom and the surface."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LAYERS: Final = 8
SIDE_STRETCH: Final = 1.9
END_STRETCH: Final = 1.3


@dataclass(frozen=True)
class Grid:
    """Rings by slices; an array of cells has the shape (rings, slices).

    All areas and volumes are those of one radian, so that no factor 2 pi is carried along.

    Attributes
    ----------
    r_m, z_m
        Faces: from the axis to the side, (rings + 1,); from bottom to surface, (slices + 1,).
    """

    r_m: Floats
    z_m: Floats

    @property
    def ring_r_m(self) -> Floats:
        """Middle of each ring, (rings,)."""
        return (self.r_m[1:] + self.r_m[:-1]) / 2.0

    @property
    def slice_z_m(self) -> Floats:
        """Middle of each slice, (slices,)."""
        return (self.z_m[1:] + self.z_m[:-1]) / 2.0

    @property
    def ring_m2(self) -> Floats:
        """Plan area of each ring, (rings,)."""
        return np.diff(self.r_m**2) / 2.0

    @property
    def slice_m(self) -> Floats:
        """Height of each slice, (slices,)."""
        return np.diff(self.z_m)

    def by_slice(self, cells: Floats) -> Floats:
        """Means over the rings, (slices,)."""
        return np.asarray(self.ring_m2 @ cells / self.ring_m2.sum())

    def mean(self, cells: Floats) -> float:
        """Mean over the whole volume."""
        return float(self.by_slice(cells) @ self.slice_m / self.z_m[-1])

    def from_layers(self, layers: Floats) -> Floats:
        """Cells of a liquid of eight equal layers, bottom first, each of one temperature."""
        low, high = self._shares()
        slices = layers @ np.maximum(high - low, 0.0) / self.slice_m
        return np.tile(slices, (len(self.ring_m2), 1))

    def layer_weights(self) -> Floats:
        """Weights that make means of eight equal layers from those of the slices, (8, slices).

        The profile is straight inside each slice, its slope that between the neighbours, so that
        a slice which lies across the border of two layers is shared rightly.
        """
        low, high = self._shares()
        share = np.maximum(high - low, 0.0)
        moment = share * ((high + low) / 2.0 - self.slice_z_m)
        layer_m = self.z_m[-1] / LAYERS
        return np.asarray((share + moment @ self._slopes()) / layer_m)

    def _shares(self) -> tuple[Floats, Floats]:
        """Lower and upper end of what each layer has of each slice, (8, slices)."""
        borders = np.linspace(0.0, self.z_m[-1], LAYERS + 1)
        low = np.maximum(borders[:-1, None], self.z_m[None, :-1])
        high = np.minimum(borders[1:, None], self.z_m[None, 1:])
        return low, high

    def _slopes(self) -> Floats:
        middle = self.slice_z_m
        last = len(middle) - 1
        slopes = np.zeros((last + 1, last + 1))
        for j in range(last + 1):
            below, above = max(j - 1, 0), min(j + 1, last)
            slopes[j, [below, above]] = np.array([-1.0, 1.0]) / (middle[above] - middle[below])
        return slopes


def stretched(*, radius_m: float, depth_m: float, rings: int, slices: int) -> Grid:
    """Make a grid that a finer one of the same family refines everywhere alike."""
    r = np.tanh(SIDE_STRETCH * np.linspace(0.0, 1.0, rings + 1)) / np.tanh(SIDE_STRETCH)
    z = np.tanh(END_STRETCH * np.linspace(-1.0, 1.0, slices + 1)) / np.tanh(END_STRETCH)
    return Grid(r_m=radius_m * r, z_m=depth_m * (z + 1.0) / 2.0)
