"""Sentences of the rules, filled in for the person who reads them."""

from drumkeep.domain.wording import filled
from drumkeep.web.formats import Formats


def said(text: str, formats: Formats) -> str:
    """Fill the marks of a sentence in the viewer's units and the site's time."""
    return filled(
        text,
        quantity={
            "t": formats.temp,
            "d": formats.difference,
            "m": formats.mass,
            "p": formats.pressure,
        },
        when=formats.when,
    )


def all_said(texts: list[str], formats: Formats) -> tuple[str, ...]:
    """Fill the marks of several."""
    return tuple(said(text, formats) for text in texts)
