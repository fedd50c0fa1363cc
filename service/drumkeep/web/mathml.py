r"""Equations as MathML, from one line of text.

Letters and words are identifiers, digits numbers, every other sign an operator; ``_`` and ``^``
set the next piece low and high, braces make one piece of several, and a space parts what would
else be one word. ``frac{a}{b}``, ``sqrt{a}``, ``root{n}{a}`` and ``mean{a}`` (a bar over it) are
the only words with a meaning; ``"text"`` stays text::

    formula('delta = root{4}{frac{4 ν α}{g β}}')
"""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from markupsafe import Markup, escape

_PIECE: Final = re.compile(
    r"""\s*(?:
    (?P<mn>\d+(?:\.\d+)?)
    |"(?P<mtext>[^"]*)"
    |(?P<mi>[^\W\d_]+|∞)
    |(?P<mo>\S))""",
    re.VERBOSE,
)
_PARTS: Final = {"frac": 2, "sqrt": 1, "root": 2, "mean": 1}
_FUNCTIONS: Final = frozenset({"exp", "ln", "log", "min", "max", "tan"})


@lru_cache(maxsize=256)
def formula(text: str, *, inline: bool = False) -> Markup:
    """Return an equation as a ``<math>`` element, on a line of its own or within one.

    Raises
    ------
    ValueError
        The text ends in the middle of a piece, or a brace is missing.
    """
    reader = _Reader(_pieces(text))
    body = reader.row(until=None)
    shown = "" if inline else ' display="block"'
    return Markup("<math{}>{}</math>").format(Markup(shown), body)  # noqa: S704 - ours


def _pieces(text: str) -> list[tuple[str, str]]:
    found = []
    at = 0
    text = text.rstrip()
    while at < len(text):
        match = _PIECE.match(text, at)
        if match is None or match.lastgroup is None:
            raise ValueError(f"{text[at:]!r} is no equation")
        found.append((match.lastgroup, match[match.lastgroup]))
        at = match.end()
    return found


@dataclass
class _Reader:
    pieces: list[tuple[str, str]]
    at: int = 0

    def row(self, *, until: str | None) -> Markup:
        """Read pieces up to a closing sign, or to the end."""
        found: list[Markup] = []
        while self.at < len(self.pieces):
            if self._is(until):
                self.at += 1
                return Markup("").join(found)
            found.append(self._scripted())
        if until is not None:
            raise ValueError(f"an equation ends without {until}")
        return Markup("").join(found)

    def _scripted(self) -> Markup:
        base = self._piece()
        low = high = None
        while self._is("_") or self._is("^"):
            sign = self.pieces[self.at][1]
            self.at += 1
            if sign == "_":
                low = self._piece()
            else:
                high = self._piece()
        if low is not None and high is not None:
            return Markup("<msubsup>{}{}{}</msubsup>").format(base, low, high)
        if low is not None:
            return Markup("<msub>{}{}</msub>").format(base, low)
        if high is not None:
            return Markup("<msup>{}{}</msup>").format(base, high)
        return base

    def _piece(self) -> Markup:
        if self.at >= len(self.pieces):
            raise ValueError("an equation ends in the middle")
        kind, word = self.pieces[self.at]
        self.at += 1
        if kind == "mo" and word == "{":
            return Markup("<mrow>{}</mrow>").format(self.row(until="}"))
        if kind == "mi" and word in _PARTS:
            return self._made(word, [self._piece() for _ in range(_PARTS[word])])
        if word in _FUNCTIONS:
            return Markup('<mrow><mspace width="0.17em"/><mi>{}</mi></mrow>').format(word)
        if kind == "mo" and word == "-":
            word = "\N{MINUS SIGN}"
        return Markup("<{0}>{1}</{0}>").format(Markup(kind), escape(word))  # noqa: S704 - ours

    def _made(self, word: str, parts: list[Markup]) -> Markup:
        match word:
            case "frac":
                return Markup("<mfrac>{}{}</mfrac>").format(*parts)
            case "root":
                return Markup("<mroot>{1}{0}</mroot>").format(*parts)
            case "mean":
                return Markup('<mover accent="true">{}<mo>¯</mo></mover>').format(*parts)
            case _:
                return Markup("<msqrt>{}</msqrt>").format(*parts)

    def _is(self, sign: str | None) -> bool:
        return self.at < len(self.pieces) and self.pieces[self.at] == ("mo", sign)
