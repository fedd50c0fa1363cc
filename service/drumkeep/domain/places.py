"""Where a drum can be, and what that means for its heat and its rules."""

from enum import StrEnum
from typing import Final


class PlaceKind(StrEnum):
    """The trade's words for where a drum stands."""

    WAREHOUSE = "warehouse"
    WARM_ROOM = "warm_room"
    DOCK = "dock"
    YARD = "yard"
    VEHICLE = "vehicle"
    RIG = "rig"
    JOB_SITE = "job_site"


class Motion(StrEnum):
    """How the air moves at a place: it sets the outside film."""

    STILL = "still"
    FAN = "fan"
    MOVING = "moving"
    WINDY = "windy"


class Crowding(StrEnum):
    """How closely drums stand: it sets the share of a side that sees the air."""

    ALONE = "alone"
    FOUR = "four"
    BLOCK = "block"


class Standing(StrEnum):
    """What the drum's bottom sees."""

    PALLET = "pallet"
    SLAB = "slab"
    TRUCK_FLOOR = "truck_floor"


OPEN_KINDS: Final = frozenset({PlaceKind.DOCK, PlaceKind.YARD, PlaceKind.JOB_SITE})
"""Places that may lie in the sun."""

DEFAULT_MOTION: Final = {
    PlaceKind.WAREHOUSE: Motion.STILL,
    PlaceKind.WARM_ROOM: Motion.FAN,
    PlaceKind.DOCK: Motion.MOVING,
    PlaceKind.YARD: Motion.MOVING,
    PlaceKind.VEHICLE: Motion.FAN,
    PlaceKind.RIG: Motion.STILL,
    PlaceKind.JOB_SITE: Motion.MOVING,
}
"""Common practice, no source: a closed van box is stirred by its own draughts, a yard by wind."""

DEFAULT_STANDING: Final = {
    PlaceKind.WAREHOUSE: Standing.PALLET,
    PlaceKind.WARM_ROOM: Standing.PALLET,
    PlaceKind.DOCK: Standing.SLAB,
    PlaceKind.YARD: Standing.PALLET,
    PlaceKind.VEHICLE: Standing.TRUCK_FLOOR,
    PlaceKind.RIG: Standing.TRUCK_FLOOR,
    PlaceKind.JOB_SITE: Standing.PALLET,
}

STORAGE_KINDS: Final = frozenset(
    {PlaceKind.WAREHOUSE, PlaceKind.DOCK, PlaceKind.YARD, PlaceKind.VEHICLE}
)
"""Places where the storage band and the gassing alarm apply."""

LOAD_KINDS: Final = frozenset({PlaceKind.VEHICLE, PlaceKind.DOCK})
"""Places where drums are a load on its way: cold there is the dispatcher's business."""

OPEN_AIR_GAP_MINUTES: Final = 30
INDOOR_GAP_MINUTES: Final = 120
"""Longest gap between readings that a straight line may bridge."""

FAST_AIR_KINDS: Final = frozenset({PlaceKind.VEHICLE, PlaceKind.DOCK, PlaceKind.YARD})


def gap_limit_seconds(*, kind: PlaceKind, interval_s: float) -> float:
    """Longest gap in seconds between two readings that still counts as known air.

    Parameters
    ----------
    kind
        The place's kind: air outdoors and in vehicles moves faster than indoors.
    interval_s
        The sensor's own interval between readings, s; 2.5 of them are always allowed.
    """
    minutes = OPEN_AIR_GAP_MINUTES if kind in FAST_AIR_KINDS else INDOOR_GAP_MINUTES
    return max(60.0 * minutes, 2.5 * interval_s)
