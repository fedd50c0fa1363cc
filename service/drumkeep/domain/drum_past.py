"""A drum's past as the march takes it, and what the march gives back."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.events import MEASURING, DrumEvent
from drumkeep.domain.liquid_age import LotLife
from drumkeep.domain.liquid_measured import Taken
from drumkeep.domain.liquid_observed import Reading
from drumkeep.domain.liquid_start import StartAir
from drumkeep.domain.liquid_state import LiquidStates
from drumkeep.domain.products import Product
from drumkeep.domain.straps import Strap

Indices = NDArray[np.intp]

REPLACED_START_HOURS: Final = 24
"""A first dip or skin reading this soon after an unmeasured receipt replaces its start."""


@dataclass(frozen=True)
class DrumPast:
    """What is needed to advance one drum.

    ``events`` are effective and ordered, from ``start`` on; ``state`` is the checkpoint that holds
    just before the events of step ``start``, None where the first event is the receipt.
    """

    key: int
    product: Product
    events: Sequence[DrumEvent]
    start: int
    state: LiquidStates | None = None
    start_air: StartAir | None = None
    share: float = 1.0
    straps: Sequence[Strap] = ()
    life: LotLife | None = None


@dataclass(frozen=True)
class Checkpoint:
    """Records of some drums just before the events of a step."""

    step: int
    drums: Indices
    states: LiquidStates


@dataclass(frozen=True)
class Measurement:
    """What was measured of one drum and what became of it; ``event`` None for a strap."""

    drum: int
    event: UUID | None
    reading: Reading
    taken: Taken


@dataclass(frozen=True)
class Advanced:
    """Where the drums came to: records after the events of step ``step``."""

    step: int
    states: LiquidStates
    checkpoints: list[Checkpoint]
    measurements: list[Measurement]


def first_measurement(events: Sequence[DrumEvent], *, receipt: DrumEvent) -> DrumEvent | None:
    """First dip or skin reading within a day of a receipt that carried no temperature."""
    if receipt.data.get("liquid_c") is not None:
        return None
    for event in events:
        if event.kind in MEASURING and event.at >= receipt.at:
            soon = (event.at - receipt.at).total_seconds() <= REPLACED_START_HOURS * 3600.0
            return event if soon else None
    return None
