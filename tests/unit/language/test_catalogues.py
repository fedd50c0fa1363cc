"""Every catalogue says everything that the interface says, with every value in it."""

import pytest
from babel.messages.catalog import Catalog

from drumkeep.language.extraction import messages
from drumkeep.language.faults import faults
from drumkeep.language.tongue import ENGLISH, LANGUAGES, catalogue

OTHERS = [code for code in LANGUAGES if code != ENGLISH]


@pytest.mark.parametrize("code", OTHERS)
def test_a_catalogue_is_complete_and_loses_no_value(code):
    assert faults(catalogue(code)) == []


@pytest.mark.parametrize("code", OTHERS)
def test_a_catalogue_has_what_the_sources_say_and_nothing_else(code):
    said = {text if isinstance(text, str) else text[0] for _, text in messages()}
    known = {m.id if isinstance(m.id, str) else m.id[0] for m in catalogue(code) if m.id}

    assert said - known == set(), "run python -m drumkeep.language and translate what is new"
    assert known - said == set(), "run python -m drumkeep.language"


@pytest.mark.parametrize(
    ("message", "string", "fault"),
    [
        ("{tag} is full", "", "no translation"),
        ("{tag} is full", "está lleno", "other values"),
        ("{tag} is full", "{lot} está lleno", "other values"),
        ("{tag} is full", "{tag está lleno", "brace"),
        ("%(tag)s is full", "está lleno", "other values"),
        (("1 drum", "%(count)s drums"), ("un tambor", ""), "no translation"),
    ],
)
def test_a_translation_that_is_missing_or_loses_a_value_is_named(message, string, fault):
    made = Catalog("es")
    made.add(message, string)

    (said,) = faults(made)
    assert fault in said


def test_a_translation_with_all_its_values_has_no_fault():
    made = Catalog("es")
    made.add("{first} to {last}", "de {first} a {last}")
    made.add(("1 drum", "%(count)s drums"), ("1 tambor", "%(count)s tambores"))

    assert faults(made) == []
