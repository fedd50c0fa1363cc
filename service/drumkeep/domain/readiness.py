"""Whether a drum is fit to spray, in which words, and what that is weighed from.

How it is weighed stands in ``verdicts``.
"""

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from math import isfinite
from typing import Final

from drumkeep.domain.quantities import kilograms_from_pounds


class Readiness(StrEnum):
    """In order of precedence."""

    ON_HOLD = "on_hold"
    UNKNOWN = "unknown"
    TOO_WARM = "too_warm"
    TOO_COLD = "too_cold"
    READY = "ready"


class Basis(StrEnum):
    """What a computed temperature rests on."""

    MEASURED = "measured"
    MODELLED = "modelled"
    UNSUPPORTED = "unsupported"


class Answer(StrEnum):
    """What the crew reads on a drum's verdict page."""

    READY = "READY"
    NOT_YET = "NOT YET"
    DO_NOT_OPEN = "DO NOT OPEN"
    LOOK_FIRST = "LOOK FIRST"
    ASK = "ASK"


NOT_COMPUTED: Final = "It has not been computed yet."
DIP_IT: Final = "Dip the liquid and record it."
OUTPUT_EDGE_KG: Final = kilograms_from_pounds(20.0)
"""Foam a minute at which the one output class ends and the other begins."""


@dataclass(frozen=True)
class Computed:
    """A drum's computed liquid, °C; None throughout where nothing is known.

    ``refused_k`` is by how much a measurement that was not used was off; None where none stands.
    ``unmeasured``: it rests on the air that it came from alone.
    """

    bottom_c: float
    mean_c: float
    top_c: float
    bottom_low_c: float
    bottom_high_c: float
    mean_low_c: float
    mean_high_c: float
    low_c: float
    high_c: float
    basis: Basis
    refused_k: float | None = None
    unmeasured: bool = False

    @property
    def is_finite(self) -> bool:
        """Whether every temperature is a number."""
        return all(isfinite(v) for v in self.__dict__.values() if isinstance(v, float))


@dataclass(frozen=True)
class Ahead:
    """When a drum's whole band will lie inside its use band (slow case).

    ``…_from`` is the earliest that its liquid may (fast case): information, nothing to plan by.
    """

    ready_at: datetime | None = None
    ready_from: datetime | None = None
    mixed_at: datetime | None = None
    warm_room: str | None = None
    ready_in_warm_room_at: datetime | None = None
    ready_in_warm_room_from: datetime | None = None
    never_note: str | None = None


@dataclass(frozen=True)
class Verdict:
    """Readiness with its reasons; sentences carry marks (``domain.wording``)."""

    state: Readiness
    answer: Answer
    reasons: tuple[str, ...]
    advice: tuple[str, ...]
    cautions: tuple[str, ...]
    ready_at: datetime | None


@dataclass
class Draft:
    """A verdict in the making: each rule adds its words, the graver before the lesser."""

    answer: Answer = Answer.ASK
    reasons: list[str] = field(default_factory=list)
    advice: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
