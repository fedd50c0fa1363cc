"""Labels for drums and places: which sizes there are, and what stands on them.

A label is read by somebody in gloves, in bad light, off a printer without colour: side and tag are
tall, and each side has a shape, a letter and a word of its own. Sizes go by what they measure;
those on which capitals of :data:`LEAST_CAPITALS_MM` leave no room for the rest are not here.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from drumkeep.domain.products import Product, Side
from drumkeep.domain.quantities import fahrenheit

LEAST_CAPITALS_MM: Final = 12.0
MOST_AT_ONCE: Final = 200
"""Labels printed in one go."""

_INCH_MM: Final = 25.4
_A4: Final = (210.0, 297.0)
_LETTER: Final = (8.5 * _INCH_MM, 11.0 * _INCH_MM)
_KEPT: Final = "\N{NO-BREAK SPACE}"

LETTER: Final[Mapping[Side, str]] = {Side.ISO: "A", Side.RESIN: "B"}
WORD: Final[Mapping[Side, str]] = {Side.ISO: "iso", Side.RESIN: "resin"}

CAUTIONS: Final[Mapping[Side, tuple[str, ...]]] = {
    Side.ISO: (
        "Isocyanate: can sensitise skin and lungs for life. Gloves, goggles, breathing protection.",
        "Keep water out: it makes gas. Never heat it tight.",
    ),
    Side.RESIN: (
        "May be under pressure: vent slowly by the small bung, face away. Never heat it tight.",
    ),
}
"""Common practice, no source."""
CAUTION_BULGED: Final = "Bulged: do not move, do not open. Step away and call."
CAUTION_SHEET: Final = (
    "Safety data sheet, supplier and local codes come first. Do not cover the supplier's label."
)


@dataclass(frozen=True, slots=True)
class LabelSize:
    """Labels of one size on a sheet, in mm; columns and rows lie in the middle of the sheet."""

    code: str
    words: str
    sheet: tuple[float, float]
    width: float
    height: float
    columns: int = 1
    rows: int = 1
    gap: float = 0.0
    """Between columns; rows touch."""

    @property
    def per_sheet(self) -> int:
        """How many there are on a sheet."""
        return self.columns * self.rows

    def corner(self, spot: int) -> tuple[float, float]:
        """Return the upper left corner of a label, mm from that of its sheet.

        Parameters
        ----------
        spot
            0 for the first; they count along the rows.
        """
        row, column = divmod(spot, self.columns)
        left = (self.sheet[0] - self.columns * (self.width + self.gap) + self.gap) / 2.0
        top = (self.sheet[1] - self.rows * self.height) / 2.0
        return left + column * (self.width + self.gap), top + row * self.height

    def spots(self, count: int, *, start: int) -> Iterator[tuple[int, int]]:
        """Yield sheet and spot, both from 0, of so many labels; ``start`` counts from 1."""
        for place in range(start - 1, start - 1 + count):
            yield divmod(place, self.per_sheet)


# Rows of a sheet touch and columns lie 2.5 mm or 3/16 in apart (common practice, no source).
SIZES: Final[Mapping[str, LabelSize]] = {
    size.code: size
    for size in (
        LabelSize("4x6in", "single, 4 × 6 in", (101.6, 152.4), 101.6, 152.4),
        LabelSize(
            "letter-4x3.33in",
            "Letter, 6 of 4 × 3⅓ in",
            _LETTER,
            4.0 * _INCH_MM,
            10.0 / 3.0 * _INCH_MM,
            columns=2,
            rows=3,
            gap=3.0 / 16.0 * _INCH_MM,
        ),
        LabelSize(
            "letter-4x5in",
            "Letter, 4 of 4 × 5 in",
            _LETTER,
            4.0 * _INCH_MM,
            5.0 * _INCH_MM,
            columns=2,
            rows=2,
            gap=3.0 / 16.0 * _INCH_MM,
        ),
        LabelSize("letter-8.5x5.5in", "Letter, 2 of 8½ × 5½ in", _LETTER, 215.9, 139.7, 1, 2),
        LabelSize("a4-99.1x93.1mm", "A4, 6 of 99.1 × 93.1 mm", _A4, 99.1, 93.1, 2, 3, 2.5),
        LabelSize("a4-99.1x139mm", "A4, 4 of 99.1 × 139 mm", _A4, 99.1, 139.0, 2, 2, 2.5),
        LabelSize("a4-105x148.5mm", "A4, 4 of 105 × 148.5 mm", _A4, 105.0, 148.5, 2, 2),
        LabelSize("a4-199.6x143.5mm", "A4, 2 of 199.6 × 143.5 mm", _A4, 199.6, 143.5, 1, 2),
    )
}


@dataclass(frozen=True, slots=True)
class DrumLabel:
    """What stands on a drum's label; ``address`` is what its code leads to."""

    address: str
    tag: str
    side: Side
    product: str
    lot: str
    made: date
    expires: date
    received: date
    store: str

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to be careful of, by side, deferring to the safety data sheet."""
        return (*CAUTIONS[self.side], CAUTION_BULGED, CAUTION_SHEET)


@dataclass(frozen=True, slots=True)
class PlaceLabel:
    """What stands on a place's label; ``kind`` in words."""

    address: str
    name: str
    reference: str
    kind: str
    site: str


Label = DrumLabel | PlaceLabel


def storage_words(product: Product, *, us: bool) -> str:
    """Return between what the liquid is to be stored, in both units, the person's first."""
    limits = product.limits.storage_low_c, product.limits.storage_high_c
    fahrenheits = f"{_span(*(fahrenheit(c) for c in limits), digits=0)}{_KEPT}°F"
    celsius = f"{_span(*limits, digits=1)}{_KEPT}°C"
    first, second = (fahrenheits, celsius) if us else (celsius, fahrenheits)
    return f"Store at {first} ({second})"


def _span(low: float, high: float, *, digits: int) -> str:
    dash = " to " if min(low, high) < 0.0 else "\N{EN DASH}"
    return f"{low:.{digits}f}{dash}{high:.{digits}f}".replace("-", "\N{MINUS SIGN}")
