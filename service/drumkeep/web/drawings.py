"""Drawings that a page has once, however many of its figures look like them.

Of the 330 figures of a floor of ten thousand drums some 25 differ, and written out each time they
were two thirds of the page.
"""

from collections.abc import Iterable
from functools import lru_cache
from hashlib import sha256

from markupsafe import Markup


class Drawings:
    """What the figures of a page refer to; the page has to have all of it once."""

    def __init__(self) -> None:
        self._found: dict[str, Markup] = {}

    def use(self, drawing: Markup) -> str:
        """Note that a figure shows a drawing; return the id that it has on the page."""
        name = _name(drawing)
        self._found[name] = drawing
        return name

    def take(self, others: "Drawings") -> None:
        """Note all that others have."""
        self._found.update(others.all())

    def all(self) -> Iterable[tuple[str, Markup]]:
        """Return them by their ids."""
        return self._found.items()


@lru_cache(maxsize=4096)
def _name(drawing: Markup) -> str:
    """Return the same id for the same drawing, so that parts of pages that were kept fit."""
    return "drawing-" + sha256(drawing.encode()).hexdigest()[:12]
