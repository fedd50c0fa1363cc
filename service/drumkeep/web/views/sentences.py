"""Sentences of the rules, filled in for the person who reads them."""

import re
from typing import Final

from drumkeep.domain.wording import filled
from drumkeep.web.formats import Formats

_TEMPERATURE: Final = re.compile(r"\{t:([^{}]+)\}")


def said(text: str, formats: Formats) -> str:
    """Fill the marks of a sentence in the viewer's units and the site's time.

    Temperatures of one sentence are told apart: 75.4 °F over 75 °F, never 75 °F over 75 °F.
    """
    others = [float(c) for c in _TEMPERATURE.findall(text)]
    return filled(
        text,
        quantity={
            "t": lambda c: formats.temp(c, against=[other for other in others if other != c]),
            "d": formats.difference,
            "m": formats.mass,
            "p": formats.pressure,
        },
        when=formats.when,
    )


def all_said(texts: list[str], formats: Formats) -> tuple[str, ...]:
    """Fill the marks of several."""
    return tuple(said(text, formats) for text in texts)
