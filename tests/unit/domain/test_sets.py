"""How many sets there are, worked by hand; that only one system goes together: trade, no source."""

import pytest

from drumkeep.domain.products import Side
from drumkeep.domain.sets import SideCount, sets_of


def drums(*told: tuple[int, str | None, str, int]) -> list[SideCount]:
    return [
        SideCount(site=site, system=system, side=Side(side), count=count)
        for site, system, side, count in told
    ]


@pytest.mark.parametrize(
    ("told", "sure", "at_most"),
    [
        ([], 0, 0),
        ([(1, "x", "iso", 3), (1, "x", "resin", 2)], 2, 2),
        # of other systems, or at another site, they make none
        ([(1, "x", "iso", 3), (1, "y", "resin", 2)], 0, 0),
        ([(1, "x", "iso", 3), (2, "x", "resin", 2)], 0, 0),
        (
            [(1, "x", "iso", 3), (1, "x", "resin", 1), (2, "y", "iso", 1), (2, "y", "resin", 9)],
            2,
            2,
        ),
        # where nobody said the system they may go together, and nobody can tell
        ([(1, None, "iso", 3), (1, None, "resin", 2)], 0, 2),
        ([(1, "x", "iso", 3), (1, None, "resin", 2)], 0, 2),
        ([(1, "x", "iso", 3), (1, "x", "resin", 2), (1, None, "resin", 5)], 2, 3),
        # one left over of each side, of other systems, and one of each unsaid: two more at most
        (
            [(1, "x", "iso", 1), (1, "y", "resin", 1), (1, None, "iso", 1), (1, None, "resin", 1)],
            0,
            2,
        ),
    ],
)
def test_a_set_is_one_drum_of_each_side_of_one_system_at_one_site(told, sure, at_most):
    found = sets_of(drums(*told))

    assert (found.sure, found.at_most) == (sure, at_most)
