"""One language of the interface: finds what English says, and says it."""

from collections.abc import Mapping
from datetime import date
from functools import cached_property, lru_cache
from gettext import GNUTranslations, NullTranslations
from io import BytesIO
from pathlib import Path
from typing import Final

from babel.core import Locale, UnknownLocaleError
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

from drumkeep.language.patterns import Recogniser

ENGLISH: Final = "en"
LANGUAGES: Final[Mapping[str, str]] = {ENGLISH: "English", "es": "Español"}
"""Languages of the interface, by ISO 639-1 code, each called as it calls itself."""

_KEPT: Final = 20_000
_HERE: Final = Path(__file__).parent


class Tongue:
    """Says in one language what is written in English.

    Parameters
    ----------
    code
        ISO 639-1, of ``LANGUAGES``.
    """

    def __init__(self, code: str) -> None:
        self.code = code
        self._recognised = lru_cache(maxsize=_KEPT)(self._recognise)

    @cached_property
    def translations(self) -> NullTranslations:
        """What templates take their texts from."""
        if self.code == ENGLISH:
            return NullTranslations()
        compiled = BytesIO()
        write_mo(compiled, catalogue(self.code))
        compiled.seek(0)
        return GNUTranslations(compiled)

    def weekday(self, day: date) -> str:
        """Return the short name of a day of the week: ``Fri``, ``vie``."""
        return str(self._locale.days["format"]["abbreviated"][day.weekday()])

    def month(self, day: date) -> str:
        """Return the short name of a month: ``Nov``, ``nov``."""
        return str(self._locale.months["format"]["abbreviated"][day.month])

    def date(self, day: date) -> str:
        """Return a date, its month in letters: ``14 Nov 2026``; no two countries read figures."""
        return f"{day.day} {self.month(day)} {day.year}"

    @cached_property
    def _locale(self) -> Locale:
        return Locale.parse(self.code)

    @cached_property
    def _recogniser(self) -> Recogniser:
        messages = catalogue(self.code)
        return Recogniser(
            {
                m.id: m.string
                for m in messages
                if isinstance(m.id, str) and isinstance(m.string, str)
            }
        )

    def words(self, message: str, /, **values: object) -> str:
        """Return a message with its values in it: ``words("about {clock}", clock="2 pm")``."""
        known = message if self.code == ENGLISH else self.translations.gettext(message)
        return known.format(**values)

    def say(self, text: str) -> str:
        """Return a sentence that was composed in English; what nobody knows stays as it is.

        Rules compose and store their sentences in English with the values in them. The message is
        found again by its words, and the values between them are carried over, so that what was
        stored last year can be read in any language. What people typed is left as they typed it.
        """
        return text if self.code == ENGLISH or not text else self._recognised(text)

    def _recognise(self, text: str) -> str:
        return self._recogniser.say(text)


@lru_cache
def tongue(code: str) -> Tongue:
    """Return the language of a code, English where there is none such."""
    return Tongue(code if code in LANGUAGES else ENGLISH)


@lru_cache
def catalogue(code: str) -> Catalog:
    """Read the catalogue of a language other than English."""
    with (_HERE / f"{code}.po").open("rb") as file:
        return read_po(file, locale=code, abort_invalid=True)


@lru_cache(maxsize=256)
def preferred(accepted: str) -> str:
    """Return the language that a browser asks for in ``Accept-Language`` (RFC 9110 §12.5.4)."""
    weighed: list[tuple[float, int, str]] = []
    for rank, part in enumerate(accepted.split(",")):
        tag, _, weight = part.strip().partition(";")
        try:
            code = Locale.parse(tag.strip(), sep="-").language
            quality = float(weight.strip().removeprefix("q=") or 1.0)
        except (ValueError, UnknownLocaleError):
            continue
        if code in LANGUAGES and quality > 0.0:
            weighed.append((-quality, rank, code))
    return min(weighed)[2] if weighed else ENGLISH
