"""In which order drums are told of: the gravest, and the next to use."""

from collections.abc import Iterable
from typing import Final

GRAVITY: Final[tuple[str, ...]] = (
    "bulged",
    "overpressure",
    "pressure",
    "solids_suspected",
    "redissolving",
    "on_hold",
    "unknown",
    "too_warm",
    "too_cold",
    "ready",
)
"""Conditions and readiness, gravest first: a group is drawn as its gravest drum."""

USE_ORDER: Final = ("ready", "too_cold", "too_warm", "unknown", "on_hold")
"""Readiness as a crew should take drums; of equals the partial before the full."""


def gravity_of(readiness: str, conditions: Iterable[str]) -> int:
    """Return the place in ``GRAVITY`` of the worst about a drum; 0 is the gravest."""
    return min(GRAVITY.index(name) for name in (readiness, *conditions) if name in GRAVITY)
