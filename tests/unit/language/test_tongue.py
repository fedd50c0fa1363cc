"""Which language a browser asks for, and what a language says."""

from datetime import date

import pytest

from drumkeep.language.tongue import LANGUAGES, preferred, tongue


# The header's grammar and the meaning of q are RFC 9110 section 12.5.4; tags are RFC 5646.
@pytest.mark.parametrize(
    ("accepted", "language"),
    [
        ("es", "es"),
        ("es-MX,es;q=0.9,en;q=0.8", "es"),
        ("en-US,en;q=0.9,es;q=0.8", "en"),
        ("da, en-gb;q=0.8, es;q=0.9", "es"),
        ("fr-FR,fr;q=0.9", "en"),
        ("fr,es;q=0", "en"),
        ("*", "en"),
        ("", "en"),
        (";;q=,,es;q=x,es-419;q=0.3", "es"),
    ],
)
def test_a_browser_is_answered_in_the_language_it_would_rather_have(accepted, language):
    assert preferred(accepted) == language


def test_a_code_that_is_no_language_of_ours_is_english():
    assert tongue("tlh").code == "en"


# Unicode CLDR's abbreviated names, by Babel.
def test_days_and_months_have_their_names():
    thursday = date(2026, 11, 26)

    assert (tongue("en").weekday(thursday), tongue("en").month(thursday)) == ("Thu", "Nov")
    assert (tongue("es").weekday(thursday), tongue("es").month(thursday)) == ("jue", "nov")


def test_every_language_calls_itself_by_its_own_name():
    assert LANGUAGES == {"en": "English", "es": "Español"}
