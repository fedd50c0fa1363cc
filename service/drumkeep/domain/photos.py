"""What a photo shows."""

from enum import StrEnum


class Shows(StrEnum):
    """What somebody took a photo of."""

    SOLIDS = "solids"
    SKIN = "skin"
    BULGE = "bulge"
    DAMAGE = "damage"
    RING = "ring"
    LABEL = "label"
    OTHER = "other"
