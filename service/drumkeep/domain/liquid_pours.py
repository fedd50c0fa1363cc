"""Liquid poured from one drum into another takes its past with it.

It is drawn at the bottom, where the pump draws, and poured in at the top; where it is colder than
what it falls on, they mix. Heat, agent and doubt go by mass; memory and age by the worse of both,
because solids and old liquid are not made good by what they are poured into.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.events import DrumEvent, EventKind
from drumkeep.domain.liquid_age import LotLife, take_older
from drumkeep.domain.liquid_agent import take_blend
from drumkeep.domain.liquid_memory import take_colder
from drumkeep.domain.liquid_state import UNSUPPORTED_K, LiquidStates
from drumkeep.domain.products import Product
from drumkeep.thermal.stratified import LAYERS, overturn

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Parcel:
    """Liquid on its way: its mass, °C of each parameter set, and the drum it came from then."""

    kg: float
    set_c: Floats
    donor: LiquidStates
    product: Product
    lot: int


def pour_id(event: DrumEvent) -> UUID:
    """Return what the two records of one pour have in common, on either drum."""
    return UUID(str(event.data.get("pour") or event.id))


def poured_between(logs: Sequence[Sequence[DrumEvent]]) -> list[set[int]]:
    """Return for each drum, by its place in the list, which of the others were poured into it."""
    drawn = {
        pour_id(event): number
        for number, events in enumerate(logs)
        for event in events
        if event.kind is EventKind.DECANTED
    }
    return [
        {
            drawn[pour_id(event)]
            for event in events
            if event.kind is EventKind.TOPPED and pour_id(event) in drawn
        }
        for events in logs
    ]


class Pours:
    """What was drawn from drums and is poured into others, while they march together."""

    def __init__(self) -> None:
        self._drawn: dict[UUID, Parcel] = {}

    def parcel(
        self, states: LiquidStates, *, event: DrumEvent, product: Product, life: LotLife | None
    ) -> Parcel | None:
        """Keep what an event draws from a drum; return what it pours into one, if it is known."""
        if event.kind is EventKind.DECANTED and states["alive"][0]:
            kg, lot = float(event.data["kg"]), 0 if life is None else life.lot
            self._drawn[pour_id(event)] = draw(states, kg=kg, product=product, lot=lot)
        return self._drawn.get(pour_id(event)) if event.kind is EventKind.TOPPED else None


def draw(states: LiquidStates, *, kg: float, product: Product, lot: int) -> Parcel:
    """Return what comes out at the bottom of one drum, shape (1,); the drum is not changed."""
    there = float(states["mass_kg"][0])
    share = min(kg / there, 1.0) if there > 0.0 else 0.0
    set_c = np.full(states["layers"].shape[1], np.nan)
    if share > 0.0:
        set_c = np.array([_heat_below(lane, share) / share for lane in states["layers"][0]])
    return Parcel(kg=kg, set_c=set_c, donor=states.copy(), product=product, lot=lot)


def pour_in(states: LiquidStates, *, parcel: Parcel, product: Product, lot: int) -> None:
    """Take a parcel into one drum, in place.

    Parameters
    ----------
    states
        The drum's record, shape (1,).
    parcel
        What is poured in; its temperature is known.
    product, lot
        The drum's own.
    """
    own_kg = float(states["mass_kg"][0])
    share = own_kg / (own_kg + parcel.kg)
    donor = parcel.donor
    take_blend(states, donor=donor, kg=parcel.kg, product=product, poured=parcel.product)
    take_colder(states, other=donor)
    take_older(states, other=donor, product=product)
    states["mixed_lots"] |= donor["mixed_lots"] | (parcel.lot != lot)
    states["mass_kg"] = own_kg + parcel.kg
    for lane, poured_c in zip(states["layers"][0], parcel.set_c, strict=True):
        lane[:] = overturn(_with_on_top(lane, poured_c, share=share))
    states["doubt_k"] = share * states["doubt_k"] + (1.0 - share) * donor["doubt_k"]
    sure = states["resolved"] & donor["resolved"]
    states["resolved"] = sure | (states["doubt_k"] < UNSUPPORTED_K)
    states["kept"] = 1.0 - share * (1.0 - states["kept"])  # nobody measured what came in here


def without_bottom(lane: Floats, gone: float) -> Floats:
    """Layers of one stack, bottom first, once a share of it has been drawn off at the bottom."""
    edges = np.arange(LAYERS + 1) / LAYERS
    kept = np.array([_heat_below(lane, gone + (1.0 - gone) * edge) for edge in edges])
    return np.asarray(np.diff(kept) * LAYERS / (1.0 - gone), dtype=np.float64)


def _with_on_top(lane: Floats, poured_c: float, *, share: float) -> Floats:
    """Layer anew a stack that makes up a share of the whole, and liquid of one °C on it."""
    if share <= 0.0:
        return np.full(LAYERS, poured_c)
    edges = np.arange(LAYERS + 1) / LAYERS
    heat = np.append(np.concatenate([[0.0], np.cumsum(lane)]) / LAYERS * share, 0.0)
    heat[-1] = heat[-2] + poured_c * (1.0 - share)
    return np.asarray(
        np.diff(np.interp(edges, np.append(edges * share, 1.0), heat)) * LAYERS, dtype=np.float64
    )


def _heat_below(lane: Floats, share: float) -> float:
    """Integral of °C over the lowest share of a stack."""
    edges = np.arange(LAYERS + 1) / LAYERS
    return float(np.interp(share, edges, np.concatenate([[0.0], np.cumsum(lane)]) / LAYERS))
