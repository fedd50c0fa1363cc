"""Draw labels on sheets, as PDF with the type in it, to a tenth of a millimetre.

Lengths are mm from the upper left corner of the label until they reach the canvas.
"""

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from typing import Any, Final

import segno
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from drumkeep.domain.labels import (
    LEAST_CAPITALS_MM,
    LETTER,
    WORD,
    DrumLabel,
    Label,
    LabelSize,
    PlaceLabel,
)
from drumkeep.domain.products import Side
from drumkeep.language.tongue import ENGLISH, Tongue, tongue

_PLAIN: Final = "Vera"
_BOLD: Final = "VeraBd"
_CAPITALS: Final = 1493.0 / 2048.0
"""Height of a capital of both faces, in ems: the outline of their H."""

_EDGE_MM: Final = 4.5
"""Left free all around: printers do not reach the sheet's edge, and sheets slip."""
_GAP_MM: Final = 2.5
_TALL: Final = LEAST_CAPITALS_MM + 0.2
"""With a little to spare, so that a printer that shrinks a page by 1 % keeps the promise."""
_RING: Final = 2.2
"""Diameter of the ring round the side's letter, in heights of that letter."""
_WIDE_TAG: Final = 7.2
"""Width of a usual tag in heights of its capitals."""
_DRUM_CODE: Final = 0.4
_PLACE_CODE: Final = 0.5
"""Width of the code with its margin, in widths of the label; a place is scanned from further."""
_LEADING: Final = 1.25
_LARGEST_MM: Final = 5.0
_SMALLEST_MM: Final = 2.0
"""Below it a long name is cut; only if that was not enough type gets smaller still."""
_SMALLER: Final = 0.97
_SHORTEST_NAME: Final = 24
_RED: Final = (0.75, 0.05, 0.08)
_QUIET_MODULES: Final = 4
"""Margin of a code (ISO/IEC 18004)."""


def draw_sheets(
    labels: Sequence[Label], *, size: LabelSize, start: int = 1, language: str = ENGLISH
) -> bytes:
    """Return a PDF of labels of one size.

    Parameters
    ----------
    labels
        In the order in which they are printed, along the rows.
    size
        Of the labels and their sheet.
    start
        First free label of the first sheet, from 1: earlier ones were used already.
    language
        ISO 639-1 code of the language of what is not a name.
    """
    spoken = tongue(language)
    _register()
    file = BytesIO()
    sheet = Canvas(file, pagesize=(size.sheet[0] * mm, size.sheet[1] * mm), invariant=True)
    sheet.setTitle(spoken.words("Labels"))
    sheet.setCreator("drumkeep")
    page = 0
    for label, (on, spot) in zip(labels, size.spots(len(labels), start=start), strict=True):
        if on != page:
            sheet.showPage()
            page = on
        left, top = size.corner(spot)
        area = _Area(sheet, left + _EDGE_MM, top + _EDGE_MM, size)
        if isinstance(label, DrumLabel):
            _draw_drum(area, label, spoken)
        else:
            _draw_place(area, label, spoken)
    sheet.save()
    return file.getvalue()


@lru_cache(maxsize=1)
def _register() -> None:
    for name in (_PLAIN, _BOLD):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))


@dataclass(frozen=True)
class _Area:
    """The part of a label that is printed on."""

    sheet: Any
    left: float
    top: float
    size: LabelSize

    @property
    def width(self) -> float:
        return self.size.width - 2.0 * _EDGE_MM

    @property
    def height(self) -> float:
        return self.size.height - 2.0 * _EDGE_MM

    def point(self, x: float, y: float) -> tuple[float, float]:
        """Return a point on the sheet, in the canvas's units."""
        return (self.left + x) * mm, (self.size.sheet[1] - self.top - y) * mm

    def capitals(self, text: str, x: float, y: float, *, tall: float, within: float) -> None:
        """Write a line in capitals so tall that hang from y, narrowed if it would be too wide."""
        em = tall / _CAPITALS
        natural = _width(text, _BOLD, em)
        line = self.sheet.beginText(*self.point(x, y + tall))
        line.setFont(_BOLD, em * mm)
        line.setHorizScale(min(100.0, 100.0 * within / natural))
        line.textOut(text)
        line.setHorizScale(100.0)  # it would hold for what comes after
        self.sheet.drawText(line)

    def write(self, text: str, x: float, y: float, *, face: str, em: float) -> None:
        """Write a line whose baseline lies at y."""
        self.sheet.setFont(face, em * mm)
        self.sheet.drawString(*self.point(x, y), text)

    def ring(self, side: Side, *, across: float) -> None:
        """Draw the side's ring in the corner: iso one thick and red, resin two thin and open."""
        middle = across / 2.0
        thick = across * (0.1 if side is Side.ISO else 0.025)
        self.sheet.setLineWidth(thick * mm)
        self.sheet.setLineCap(1)  # round: no gap shows where it closes
        self.sheet.setStrokeColorRGB(*(_RED if side is Side.ISO else (0.0, 0.0, 0.0)))
        outer = middle - thick / 2.0
        radii = [outer] if side is Side.ISO else [outer, outer - 0.06 * across]
        for radius in radii:
            self.sheet.circle(*self.point(middle, middle), radius * mm)

    def code(self, address: str, x: float, y: float, *, across: float) -> None:
        """Draw a QR code with its margin, as one shape so that no seam shows."""
        modules = segno.make(address, error="m", micro=False).matrix
        module = across / (len(modules) + 2 * _QUIET_MODULES)
        shape = self.sheet.beginPath()
        for i, row in enumerate(modules):
            for first, length in _runs(row):
                corner = self.point(
                    x + (first + _QUIET_MODULES) * module, y + (i + 1 + _QUIET_MODULES) * module
                )
                shape.rect(*corner, length * module * mm, module * mm)
        self.sheet.setFillColorRGB(0.0, 0.0, 0.0)
        self.sheet.drawPath(shape, stroke=0, fill=1)


def _runs(row: Iterable[int]) -> list[tuple[int, int]]:
    """Return start and length of each run of dark modules."""
    found: list[tuple[int, int]] = []
    for i, dark in enumerate(row):
        if not dark:
            continue
        if found and sum(found[-1]) == i:
            found[-1] = (found[-1][0], found[-1][1] + 1)
        else:
            found.append((i, 1))
    return found


def _draw_drum(area: _Area, label: DrumLabel, spoken: Tongue) -> None:
    """Draw a drum's label: side and tag over everything else, then the code and the facts."""
    stacked = area.height > 1.1 * area.width
    wide = _WIDE_TAG if stacked else _RING + 0.2 + 0.75 * _WIDE_TAG
    tall = max(_TALL, min(area.width / wide, 0.18 * area.height))
    across = _RING * tall
    area.ring(label.side, across=across)
    letter = LETTER[label.side]
    inset = (across - _width(letter, _BOLD, tall / _CAPITALS)) / 2.0
    area.capitals(letter, inset, (across - tall) / 2.0, tall=tall, within=across)
    beside = across + 0.2 * tall
    if stacked:
        word_y, tag_x, tag_y = (across - tall) / 2.0, 0.0, across + 0.25 * tall
    else:
        word_y, tag_x, tag_y = 0.0, beside, across - tall
    word = spoken.words(WORD[label.side]).upper()
    area.capitals(word, beside, word_y, tall=tall, within=area.width - beside)
    area.capitals(label.tag, tag_x, tag_y, tall=tall, within=area.width - tag_x)
    facts = [
        (_PLAIN, _known(label.product)),
        (_BOLD, spoken.say(f"Lot {_known(label.lot)}")),
        (_BOLD, spoken.say(label.store)),
        (_PLAIN, _dates(label, spoken)),
        *((_PLAIN, spoken.say(line)) for line in label.cautions),
        (_PLAIN, label.address.partition("://")[2]),
    ]
    _draw_body(area, label.address, facts, top=tag_y + 1.2 * tall + _GAP_MM, code=_DRUM_CODE)


def _dates(label: DrumLabel, spoken: Tongue) -> str:
    """Return a drum's three dates."""
    told = (
        ("Made {day}.", label.made),
        ("Expires {day}.", label.expires),
        ("Received {day}.", label.received),
    )
    dates = (spoken.words(words, day=spoken.date(day)) for words, day in told)
    return " ".join(words.replace(" ", "\N{NO-BREAK SPACE}") for words in dates)


def _draw_place(area: _Area, label: PlaceLabel, spoken: Tongue) -> None:
    """Draw a place's label: its name, then the code."""
    tall = max(_TALL, min(0.14 * area.width, 0.18 * area.height))
    area.capitals(_known(label.name), 0.0, 0.0, tall=tall, within=area.width)
    kind = spoken.say(label.kind).capitalize()
    facts = [
        (_PLAIN, spoken.words("{kind} at {site}", kind=kind, site=_known(label.site))),
        (_BOLD, label.reference),
        (_PLAIN, spoken.words("Scan it when drums come to stand here.")),
        (_PLAIN, label.address.partition("://")[2]),
    ]
    _draw_body(area, label.address, facts, top=1.3 * tall + _GAP_MM, code=_PLACE_CODE)


_Lines = list[tuple[float, str, str]]
"""Baseline, face and text of each line."""


def _draw_body(
    area: _Area, address: str, facts: Sequence[tuple[str, str]], *, top: float, code: float
) -> None:
    """Draw the code at the right, and the facts beside and below it as large as they fit."""
    height = area.height - top
    across = min(code * area.width, height)
    area.code(address, area.width - across, top, across=across)
    widths = (area.width - across - 0.5, area.width)
    em = _LARGEST_MM
    while True:
        lines = _lines(facts, em=em, widths=widths, beside=across)
        if lines[-1][0] + 0.25 * em <= height:
            break
        face, name = facts[0]
        if em > _SMALLEST_MM or len(name) <= _SHORTEST_NAME:
            em *= _SMALLER
        else:
            facts = [(face, f"{name[:-2].rstrip('…')}…"), *facts[1:]]
    for y, face, text in lines:
        area.write(text, 0.0, top + y, face=face, em=em)


def _lines(
    facts: Iterable[tuple[str, str]], *, em: float, widths: tuple[float, float], beside: float
) -> _Lines:
    """Break facts into lines: narrow ones beside the code, wide ones below it."""
    lines: _Lines = []
    y = 0.8 * em
    for face, text in facts:
        rest = text
        while rest:
            width = widths[0] if y - em < beside else widths[1]
            line = _as_much_as_fits(rest, face, em=em, width=width)
            rest = rest[len(line) :].lstrip(" ")
            lines.append((y, face, line))
            y += (_LEADING if rest else _LEADING + 0.15) * em
    return lines


def _as_much_as_fits(text: str, face: str, *, em: float, width: float) -> str:
    """Return the beginning of a text that fits on a line; a word is broken only if it must be."""
    if _width(text, face, em) <= width:
        return text
    most = next(n for n in range(len(text), 0, -1) if _width(text[:n], face, em) <= width)
    gap = text.rfind(" ", 0, most + 1)
    if gap <= 0:  # an address or a code: rather behind a stroke than within a word
        gap = 1 + max(text.rfind("/", 0, most), text.rfind("-", 0, most))
    return text[:gap] if gap > 0 else text[:most]


def _width(text: str, face: str, em: float) -> float:
    return float(pdfmetrics.stringWidth(text, face, em))


def _known(text: str) -> str:
    """Return a text in letters that the type has: without their accents, else as question marks."""
    has = pdfmetrics.getFont(_BOLD).face.charToGlyph
    found = ""
    for symbol in unicodedata.normalize("NFC", text):
        plain = unicodedata.normalize("NFKD", symbol)
        found += symbol if ord(symbol) in has else "".join(p for p in plain if ord(p) in has) or "?"
    return found
