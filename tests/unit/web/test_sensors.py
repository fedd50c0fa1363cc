"""How sensors that measure the same in one place are told apart."""

import pytest

from drumkeep.web.views.sensors import marks_of


@pytest.mark.parametrize(
    ("names", "marks"),
    [
        (["urn:dev:ow:28d0c00000000131:temp"], [""]),
        (
            ["urn:dev:ow:28d0c00000000131:temp", "urn:dev:ow:28d0c00000000142:temp"],
            ["…0131", "…0142"],
        ),
        # the last four do not tell them apart
        (["urn:dev:ow:28d0c0aa0131:temp", "urn:dev:ow:28d0c0ab0131:temp"], ["…a0131", "…b0131"]),
        (["urn:dev:os:32473-probe-67:temp", "urn:dev:os:32473-probe-8:temp"], ["67", "8"]),
        # one device with two probes
        (["urn:dev:os:32473-shed:low", "urn:dev:os:32473-shed:high"], ["low", "high"]),
        (["a", "urn:dev:os:a:b"], ["a", "b"]),
    ],
)
def test_a_sensor_is_marked_by_the_shortest_end_that_no_other_has(names, marks):
    assert list(marks_of(names).values()) == marks
