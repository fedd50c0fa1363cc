"""Geometry of the drum figure: where each line of the drawing goes, in three sizes.

The template macro draws what is worked out here. Nothing in the figure speaks by colour alone:
tints carry a hatch (falling for cold, rising for warm), marks are shapes.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

from drumkeep.web.drum_words import near
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import DrumView, ShelfView

Size = Literal["row", "tile", "page"]
Tone = Literal["none", "use", "cold", "colder", "warm"]


DRAWN_AT_ONCE: Final = 60
"""Most single drums drawn on one floor: more would be neither read nor sent quickly."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Fixed measures of one size, in pixels of the drawing."""

    width: float
    height: float
    left: float
    right: float
    lid: float
    floor: float
    wall: float
    bung_x: float
    bung_y: float
    ring: float
    letter_x: float
    letter_y: float
    bracket_x: float
    label_step: float
    clock: tuple[float, float, float]
    raised: float
    mark: float

    @property
    def width_inside(self) -> float:
        """Width of the body."""
        return self.right - self.left

    @property
    def body(self) -> str:
        """Outline of the body from lid to floor, with its two rolling hoops."""
        tall = self.floor - self.lid
        out = self.wall * 0.9
        half = tall * 0.022 + self.wall * 0.5
        left = [f"M{self.left:g} {self.lid:g}"]
        right = []
        for share in (1 / 3, 2 / 3):
            y = self.lid + share * tall
            left.append(_hoop(y - half, -out, half))
            right.append(_hoop(self.lid + (1 - share) * tall + half, out, -half))
        down = " ".join(left) + f" V{self.floor:g} H{self.right:g} "
        return down + " ".join(right) + f" V{self.lid:g}"


FRAMES: Final[dict[Size, Frame]] = {
    "row": Frame(
        width=34, height=28, left=13, right=29, lid=6, floor=27.5, wall=1.5, bung_x=24.5,
        bung_y=3.2, ring=2.2, letter_x=5.5, letter_y=27, bracket_x=32, label_step=0,
        clock=(16.5, 3, 2.7), raised=2, mark=3.5,
    ),
    "tile": Frame(
        width=78, height=72, left=26, right=66, lid=13, floor=71, wall=2, bung_x=56,
        bung_y=7, ring=4, letter_x=12, letter_y=57, bracket_x=71, label_step=0,
        clock=(33, 6.5, 5.5), raised=4, mark=6,
    ),
    "page": Frame(
        width=380, height=320, left=92, right=276, lid=46, floor=318.5, wall=3, bung_x=236,
        bung_y=29, ring=11, letter_x=46, letter_y=88, bracket_x=292, label_step=17,
        clock=(110, 21, 15), raised=12, mark=13,
    ),
}  # fmt: skip


_SOLIDS: Final = {"solids_suspected", "redissolving"}

_HEIGHTS: Final = {1: (1.0,), 2: (1 / 8, 7 / 8), 8: (1 / 8,) * 8}
"""Shares of the depth, bottom first, by the number of bands."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One band of liquid. ``text_x``/``text_y`` place its label, ``lead`` a line out to it."""

    y: float
    height: float
    tone: Tone
    label: str = ""
    text_x: float = 0.0
    text_y: float = 0.0
    lead: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """All that the macro draws."""

    frame: Frame
    layers: tuple[Layer, ...]
    surface: float
    low_label: str
    high_label: str
    dashed: bool
    dots: tuple[tuple[float, float], ...]
    clock: tuple[float, float] | None
    clock_hour: str
    unknown: bool

    @property
    def inner(self) -> tuple[float, float]:
        """Left edge and width of the liquid."""
        half = self.frame.wall / 2
        return self.frame.left + half, self.frame.right - self.frame.left - 2 * half


def tone(c: float | None, drum: DrumView) -> Tone:
    """Return where a temperature (°C) lies in the product's own limits."""
    if c is None or drum.basis is None:
        return "none"
    low, high = drum.use_band_c
    if c < low:
        return "colder" if c < drum.storage_band_c[0] else "cold"
    return "warm" if c > high else "use"


def figure(drum: DrumView, *, size: Size, formats: Formats, bands: int = 8) -> Figure:
    """Work out the drawing of a drum.

    Parameters
    ----------
    drum
        What is drawn.
    size
        ``row`` (28 px), ``tile`` (72 px) or ``page`` (320 px).
    formats
        For the labels of the page size and the hour of the clock.
    bands
        8, or 2 for the bottom and the rest only; a row always has 2.
    """
    frame = FRAMES[size]
    half = frame.wall / 2
    foot = frame.floor - half
    depth = max(0.0, min(1.0, drum.fill)) * (foot - frame.lid - half)
    surface = foot - depth
    temperatures = _temperatures(drum, 2 if size == "row" else bands)
    heights = _HEIGHTS[len(temperatures)]
    layers = []
    y = foot
    for c, part in zip(temperatures, heights, strict=True):
        height = part * depth
        y -= height
        layers.append(Layer(y=round(y, 2), height=round(height, 2), tone=tone(c, drum)))
    if size == "page":
        layers = _labelled(layers, temperatures, drum, frame, formats)
    at = drum.soonest_ready_at if drum.warming else None
    labels = size == "page" and drum.low_c is not None and drum.high_c is not None
    limits = near(drum)
    return Figure(
        frame=frame,
        layers=tuple(layers),
        surface=round(surface, 2),
        low_label=formats.degrees(drum.low_c, against=limits) if labels else "",
        high_label=formats.degrees(drum.high_c, against=limits) if labels else "",
        dashed=drum.basis == "unsupported",
        dots=_dots(frame, depth, foot) if _SOLIDS & set(drum.conditions) else (),
        clock=_hand(at, formats),
        clock_hour=formats.clock(at, short=True) if at is not None else "",
        unknown=drum.bottom_c is None,
    )


def _hoop(y: float, out: float, half: float) -> str:
    return f"V{y:g} q{out:g} {half:g} 0 {2 * half:g}"


def _temperatures(drum: DrumView, bands: int) -> Sequence[float | None]:
    if drum.bottom_c is None:
        return (None,)
    if bands == 2 or drum.layers_c is None:  # noqa: PLR2004 - the bottom and the rest
        return (drum.bottom_c, drum.mean_c)
    return drum.layers_c


def _labelled(
    layers: list[Layer],
    temperatures: Sequence[float | None],
    drum: DrumView,
    frame: Frame,
    formats: Formats,
) -> list[Layer]:
    """Write each temperature in its band, or fan the labels out beside a drum that holds little."""
    inside = all(layer.height >= frame.label_step for layer in layers)
    limits = near(drum)
    centre = (frame.left + frame.right) / 2
    below = frame.floor + frame.label_step / 2
    done = []
    for layer, c in zip(layers, temperatures, strict=True):
        middle = layer.y + layer.height / 2
        if not inside:
            middle = min(middle, below - frame.label_step)
        below = middle
        done.append(
            Layer(
                y=layer.y,
                height=layer.height,
                tone=layer.tone,
                label="" if c is None else formats.degrees(c, against=limits),
                text_x=centre if inside else frame.left - 14,
                text_y=round(middle, 2),
                lead=not inside,
            )
        )
    return done


def _dots(frame: Frame, depth: float, foot: float) -> tuple[tuple[float, float], ...]:
    """Places of the solids at the bottom: fixed, so that a page does not flicker when renewed."""
    width = frame.right - frame.left - 2 * frame.wall
    reach = min(depth, 0.26 * (frame.floor - frame.lid))
    rows = ((0.16, 7, 0.0), (0.45, 6, 0.5), (0.78, 4, 1.3))
    return tuple(
        (
            round(frame.left + frame.wall + width * (index + 0.5 + shift / 2) / 7.5, 2),
            round(foot - reach * up, 2),
        )
        for up, number, shift in rows
        for index in range(number)
    )


def _hand(at: datetime | None, formats: Formats) -> tuple[float, float] | None:
    """End of the clock's hour hand on a circle of radius 1."""
    if at is None:
        return None
    local = formats.local(at)
    turn = 2 * math.pi * ((local.hour % 12) + local.minute / 60) / 12
    return round(math.sin(turn), 3), round(-math.cos(turn), 3)


def drawn_by_group(shelves: Iterable[ShelfView], *, most: int = DRAWN_AT_ONCE) -> list[list[int]]:
    """Share the figures of single drums out over the groups, from the top of the floor down.

    Parameters
    ----------
    shelves
        The shelves as they will be shown.
    most
        Figures in all.

    Returns
    -------
    list of list of int
        For each shelf, for each of its groups, how many of its drums may be drawn.
    """
    left = most
    shares: list[list[int]] = []
    for shelf in shelves:
        row = []
        for group in shelf.groups:
            given = min(left, len(group.drums))
            left -= given
            row.append(given)
        shares.append(row)
    return shares
