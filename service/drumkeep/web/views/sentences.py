"""Sentences of the rules, filled in for the person who reads them."""

import re
from datetime import date, datetime, time
from typing import Final

from drumkeep.domain.wording import filled, temperatures
from drumkeep.web.formats import Formats

_DAY: Final = re.compile(r"(?<![\w-])(2\d{3}-\d\d-\d\d)(?![\w-])", re.ASCII)


def said(text: str, formats: Formats) -> str:
    """Return a sentence in the viewer's language, units and the site's time.

    Temperatures of one sentence are told apart: 75.4 °F over 75 °F, never 75 °F over 75 °F.
    """
    others = temperatures(text)
    words = filled(
        formats.tongue.say(text),
        quantity={
            "t": lambda c: formats.temp(c, against=[other for other in others if other != c]),
            "d": formats.difference,
            "m": formats.mass,
            "p": formats.pressure,
        },
        when=formats.when,
    )
    return _DAY.sub(lambda match: _day(match[1], formats), words)


def _day(text: str, formats: Formats) -> str:
    try:
        noon = datetime.combine(date.fromisoformat(text), time(12), tzinfo=formats.timezone)
    except ValueError:
        return text
    return formats.date(noon)


def all_said(texts: list[str], formats: Formats) -> tuple[str, ...]:
    """Fill the marks of several."""
    return tuple(said(text, formats) for text in texts)
