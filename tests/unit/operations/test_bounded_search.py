"""Whatever an expression asks for, it is found or refused within a bound."""

import json

import jmespath
import pytest

from drumkeep.operations.bounded_search import LEAST_STEPS, BoundedSearch, TooMuchWork

DOUBLING = [
    "length(to_string(" + "|".join(["[@,@]"] * 57) + "))",
    "|".join(["{a:@,b:@}"] * 40),
    "|".join(["[@,@][]"] * 50),
    "|".join(["join('',[to_string(@),to_string(@)])"] * 10),
    "|".join(["map(&[@,@],[@,@])"] * 23),
]


# Held by memory and not by time: without the bound each of these takes gigabytes.
@pytest.mark.parametrize("expression", DOUBLING)
def test_what_doubles_with_each_step_is_given_up(expression):
    with pytest.raises(TooMuchWork):
        BoundedSearch(1).search(expression, list(range(10)))


def test_one_message_has_one_bound_for_all_that_is_searched_in_it():
    searching = BoundedSearch(0)
    for _ in range(LEAST_STEPS):
        searching.search("@", 1)
    with pytest.raises(TooMuchWork):
        searching.search("@", 1)


# The library itself is what it must agree with.
@pytest.mark.parametrize(
    "expression",
    [
        "readings[*].{n: name, v: values.t, all: [name, values]}",
        "readings[?values.t > `20`].name | join(':', @)",
        "sort_by(readings, &values.t)[-1].name",
        "readings[].values.* | []",
        "merge(readings[0], {extra: 'x'})",
        "to_number(to_string(readings[1].values.t))",
        "not_there.at_all[3]",
    ],
)
def test_what_is_within_it_is_found_as_ever(expression):
    readings = [{"name": f"s{n}", "values": {"t": 18 + n, "h": 40 + n}} for n in range(5)]
    message = {"readings": readings}

    found = BoundedSearch(len(json.dumps(message))).search(expression, message)

    assert found == jmespath.search(expression, message)
