"""What is taken for a message, and how a composed sentence is written in the catalogue."""

import ast

import pytest

from drumkeep.language.extraction import message_of, messages


@pytest.mark.parametrize(
    ("source", "message"),
    [
        ('f"{drum.tag} is full"', "{tag} is full"),
        ("f\"Put on hold: {data['reason']}\"", "Put on hold: {reason}"),
        (
            'f"from {temperature(low)} to {temperature(high)}"',
            "from {temperature} to {temperature2}",
        ),
        ("f\"one of {', '.join(choices)}\"", "one of {choices}"),
        ('f"{a + b:.1f} kg {{net}}"', "{a} kg {{net}}"),
        ('f"{(x or y)} left"', "{x} left"),
    ],
)
def test_a_composed_sentence_is_a_message_with_named_values(source, message):
    node = ast.parse(source, mode="eval").body

    assert isinstance(node, ast.JoinedStr)
    assert message_of(node) == message


@pytest.fixture(scope="module")
def found():
    return set(messages())


def test_texts_of_templates_scripts_rules_and_faults_are_found(found):
    assert ("web/templates/me.html", "Language of the pages") in found
    assert ("domain/checks.py", "is not known here") in found
    assert ("web/wording.py", "too cold") in found


def test_what_goes_to_logs_to_developers_and_to_the_database_is_no_message(found):
    said = {text for _, text in found if isinstance(text, str)}

    assert not any("RFC 9110" in text for text in said)  # of a docstring
    assert not any(text.startswith(("SELECT", "%(asctime)s", "<time")) for text in said)
