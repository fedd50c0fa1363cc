"""Some drums and the places round them, to be marched ahead together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air_ahead import AirAhead, air_ahead
from drumkeep.domain.drums import DrumFacts
from drumkeep.domain.liquid_state import LiquidStates
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.outlook import READY_HOURS, Prospect
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import OutputClass, Product
from drumkeep.operations.ground import Premises
from drumkeep.storage.tables.catalogue import Place

AT_ONCE: Final = 250
"""Drums in one march: bounds its memory to some 100 MB."""


class Subject(Protocol):
    """A drum to look ahead for."""

    @property
    def drum_id(self) -> int:
        """Which it is."""

    @property
    def product(self) -> Product:
        """Its product."""

    @property
    def facts(self) -> DrumFacts:
        """What people recorded of it."""

    @property
    def share(self) -> float:
        """Share of its side that sees the air."""


@dataclass(frozen=True)
class AirsAhead:
    """The air to come of places from ``step`` on, each reckoned once."""

    places: Mapping[int, PlaceHeat]
    step: int
    _told: dict[tuple[int, int], AirAhead] = field(default_factory=dict, repr=False)

    def of(self, place: Place, *, start: int = 0) -> AirAhead:
        """Return the air to come of a place, from a forecast step on."""
        key = place.id, start
        if key not in self._told:
            if start:
                self._told[key] = self.of(place).later(start)
            else:
                self._told[key] = air_ahead(
                    kind=PlaceKind(place.kind),
                    set_point_c=place.set_point_c,
                    air=self.places[place.id].air,
                    clues=self.places[place.id].clues,
                    now_step=self.step,
                    hours=READY_HOURS,
                )
        return self._told[key]


@dataclass(frozen=True)
class DaysAhead:
    """Drums whose liquid is known, and the air of all places that they are in or may go to.

    ``states`` has a record for each of ``drums``, in which they are called by their row.
    """

    drums: Sequence[Subject]
    states: LiquidStates
    airs: AirsAhead
    premises: Premises
    now: datetime

    @property
    def step(self) -> int:
        """Grid step of the present."""
        return self.airs.step

    def place_of(self, row: int) -> Place:
        """Return where a drum is."""
        return self.premises.places[self.drums[row].facts.place]

    def output(self, row: int) -> OutputClass:
        """Return the output class for which a drum is wanted."""
        site = self.premises.sites[self.place_of(row).site_id]
        return self.drums[row].facts.wanted_output or OutputClass(site.output_class)

    def prospect(
        self,
        rows: Sequence[int] | range,
        where: Sequence[Place],
        *,
        states: LiquidStates | None = None,
        starts: NDArray[np.intp] | None = None,
    ) -> Prospect:
        """Return drums, each in some place, from now or from its forecast step of ``starts``."""
        begins = [0] * len(rows) if starts is None else starts.tolist()
        return Prospect(
            states=self.states[list(rows)] if states is None else states,
            products=[self.drums[row].product for row in rows],
            heats=[self.airs.places[place.id] for place in where],
            ahead=[self.airs.of(p, start=begin) for p, begin in zip(where, begins, strict=True)],
            share=np.array([self.drums[row].share for row in rows], dtype=np.float64),
            step=self.step,
            delay=0 if starts is None else starts,
        )
