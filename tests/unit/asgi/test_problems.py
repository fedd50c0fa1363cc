"""Problems are plain, short, and never break on what they repeat."""

import json
import math

import pytest

from drumkeep.asgi.problems import KINDS, TooOften, of_error, shown
from drumkeep.errors import DrumkeepError, Fault, Invalid, Unavailable


@pytest.mark.parametrize(
    "value",
    [
        None,
        True,
        12,
        1.5,
        "text",
        2**70,
        math.nan,
        -math.inf,
        "\ud800",
        "x" * 5000,
        {"a": [1, {"b": object()}]},
        [[[[[[[[[["deep"]]]]]]]]]],
        b"\xff\x00",
    ],
)
def test_any_value_can_be_repeated_in_an_answer(value):
    problem = of_error(Invalid("No.", [Fault("field", value, "is wrong", "Mend it.")]))

    body = problem.body(request_id="abc")

    (fault,) = json.loads(body)["errors"]
    assert fault["field"] == "field"
    assert len(body) < 2000


def test_ordinary_values_are_repeated_as_they_came():
    assert [shown(value) for value in (None, False, 7, 2.5, "K7Q-X4M")] == [
        None,
        False,
        7,
        2.5,
        "K7Q-X4M",
    ]


def test_every_kind_of_error_has_a_status():
    # The demo is a client; its own are answers to nobody.
    kinds = {
        kind
        for kind in DrumkeepError.__subclasses__()
        if not kind.__module__.startswith("drumkeep.demo")
    }

    assert kinds <= set(KINDS)


def test_waiting_is_said_in_seconds():
    assert of_error(TooOften("Later.", retry_s=17)).headers["Retry-After"] == "17"
    assert int(of_error(Unavailable("Not now.")).headers["Retry-After"]) > 0
