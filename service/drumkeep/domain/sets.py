"""Sets: one drum of A and one of B that may go through one machine together.

They are counted by drum, a partly used one as one. Only drums of one product system on one site
make a set. Where no product of either side says to which system it belongs, nobody can tell, and
the number is the most that there can be.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from drumkeep.domain.products import Side


@dataclass(frozen=True, slots=True)
class SideCount:
    """So many drums of one side, of one system (None: not said) on one site."""

    site: int
    system: str | None
    side: Side
    count: int


@dataclass(frozen=True, slots=True)
class Sets:
    """How many sets there are for sure, and how many more there may be (``at_most`` in all)."""

    sure: int
    at_most: int


def sets_of(counts: Iterable[SideCount]) -> Sets:
    """Count sets.

    What is left over of either side once the sure sets are made may still go together where at
    least one of the two does not say its system.
    """
    by_site: dict[int, dict[str | None, dict[Side, int]]] = defaultdict(
        lambda: defaultdict(lambda: {Side.ISO: 0, Side.RESIN: 0})
    )
    for one in counts:
        by_site[one.site][one.system][one.side] += one.count
    sure = more = 0
    for systems in by_site.values():
        unnamed = systems.pop(None, {Side.ISO: 0, Side.RESIN: 0})
        pairs = {name: min(n[Side.ISO], n[Side.RESIN]) for name, n in systems.items()}
        sure += sum(pairs.values())
        left = {side: sum(n[side] - pairs[name] for name, n in systems.items()) for side in Side}
        iso, resin = unnamed[Side.ISO], unnamed[Side.RESIN]
        # named leftovers go with unnamed drums of the other side, then these among themselves
        with_iso = min(iso, left[Side.RESIN])
        with_resin = min(resin, left[Side.ISO])
        more += with_iso + with_resin + min(iso - with_iso, resin - with_resin)
    return Sets(sure=sure, at_most=sure + more)
