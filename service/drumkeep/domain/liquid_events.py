"""What each kind of event does to the liquid of one drum.

Heat, mass, seal and memory only; who may do what and whether it makes sense is decided when the
event is recorded (``domain.drums``). Measurements are ``domain.liquid_measured``'s.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.events import DrumEvent, EventKind
from drumkeep.domain.liquid_age import LotLife, begin_age
from drumkeep.domain.liquid_agent import lose_by_event
from drumkeep.domain.liquid_heaters import begin_heating
from drumkeep.domain.liquid_memory import see_none, see_solids, stir
from drumkeep.domain.liquid_pours import Parcel, pour_in, without_bottom
from drumkeep.domain.liquid_seals import (
    RECEIVED_SEAL_C,
    reckon_headspace,
    regulate,
    reseal,
    seal,
    seal_anew,
    unseal,
    vent,
)
from drumkeep.domain.liquid_start import StartAir, begin, begin_unmeasured
from drumkeep.domain.liquid_state import (
    NEVER,
    LiquidStates,
    band_at,
)
from drumkeep.domain.products import Product, Side
from drumkeep.thermal.constants import STANDARD_PRESSURE_KPA

Floats = NDArray[np.float64]

START_K: Final = 0.5
KEPT_AT_START: Final = 0.5
"""A receipt measured: the liquid so far either way, and so much left of the model's error."""

TOPPED_DOUBT_K: Final = 10.0
"""Poured in from a drum that is not known, liquid may differ by so much: its share is in doubt."""


@dataclass(frozen=True)
class Moment:
    """The step at which an event is applied, what surrounds the drum then, and what is poured in.

    ``life`` are the dates of its lot, ``parcel`` None where nothing is known of what came in.
    """

    step: int
    air_c: float
    sensor_error_k: float
    start_air: StartAir | None
    find_place: Callable[[Mapping[str, Any]], int]
    site_kpa: float = STANDARD_PRESSURE_KPA
    life: LotLife | None = None
    parcel: Parcel | None = None


def apply_event(
    states: LiquidStates, *, event: DrumEvent, product: Product, moment: Moment
) -> None:
    """Apply one event to the one record in ``states`` (shape (1,)), in place."""
    handler = _HANDLERS.get(event.kind)
    if handler is not None and (states["alive"][0] or event.kind is EventKind.RECEIVED):
        before = states.copy()
        handler(states, event, product, moment)
        lose_by_event(states, before=before, event=event, product=product, site_kpa=moment.site_kpa)


def _received(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    data = event.data
    state = states[0]
    state["alive"] = True
    state["mass_kg"] = data.get("net_kg") or product.properties.net_kg
    state["place"] = moment.find_place(data)
    liquid_c = data.get("liquid_c")
    if liquid_c is not None:
        begin(states, low=liquid_c, likely=liquid_c, high=liquid_c, spread=START_K)
        state["kept"] = KEPT_AT_START
        state["measured_step"] = state["dip_step"] = moment.step
    elif moment.start_air is not None:
        begin_unmeasured(states, air=moment.start_air)
    seal(states, product, site_kpa=moment.site_kpa, at_c=RECEIVED_SEAL_C)
    begin_age(states, life=moment.life, product=product, receipt=data, step=moment.step)


def _moved(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del product
    states["place"] = moment.find_place(event.data)


def _weighed(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del moment
    _set_mass(states, float(event.data["net_kg"]))
    reckon_headspace(states, product)


def _topped(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    added = float(event.data["kg"])
    mass = float(states["mass_kg"][0]) + added
    if moment.parcel is not None and np.isfinite(moment.parcel.set_c).all():
        lot = 0 if moment.life is None else moment.life.lot
        pour_in(states, parcel=moment.parcel, product=product, lot=lot)
    else:
        states["mass_kg"] = mass
        states["doubt_k"] += TOPPED_DOUBT_K * added / mass
    seal_anew(states, product, site_kpa=moment.site_kpa)


def _decanted(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    _set_mass(states, float(states["mass_kg"][0]) - float(event.data["kg"]))
    seal_anew(states, product, site_kpa=moment.site_kpa)


def _set_mass(states: LiquidStates, mass_kg: float) -> None:
    """Take liquid away from the bottom, where the pump draws, or add it; then layer anew."""
    before = float(states["mass_kg"][0])
    states["mass_kg"] = max(mass_kg, 0.0)
    if not 0.0 < mass_kg < before:
        return
    for lane in states["layers"][0]:
        lane[:] = without_bottom(lane, 1.0 - mass_kg / before)


def _agitated(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del product
    layers = states["layers"]
    layers[:] = layers.mean(axis=-1, keepdims=True)
    stir(states, minutes=float(event.data["minutes"]), step=moment.step)


def _opened(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del event, product, moment
    unseal(states)


def _resealed(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del event
    reseal(states, product, site_kpa=moment.site_kpa)


def _vented(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del event
    vent(states, product, site_kpa=moment.site_kpa)


def _blanketed(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    kpa = float(event.data["kpa"])
    if event.data.get("regulator", False):
        regulate(states, kpa=kpa)
    else:
        seal(states, product, site_kpa=moment.site_kpa, blanket_kpa=kpa)


def _heated(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del product, moment
    begin_heating(states, event=event)


def _inspected(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    look = event.data
    if look.get("bulge") not in (None, "none"):
        states["bulged"] = True
    if product.side is not Side.ISO:
        return
    solids = look.get("solids")
    if solids not in (None, "none"):
        see_solids(states)
        return
    if solids != "none" or not look.get("reached_bottom"):
        return
    band = band_at(
        states, step=moment.step, sensor_error_k=moment.sensor_error_k, drive_k=np.zeros(1)
    )
    see_none(states, low_c=float(band.low[0]), seed_c=product.limits.seed_c)


def _released(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del event, product, moment
    states["bulged"] = False


def _ended(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del product, moment
    states["alive"] = False
    if event.kind is EventKind.EMPTIED:
        states["mass_kg"] = 0.0
    for name in ("seed_since", "gas_since", "below_since", "above_since"):
        states[name] = NEVER


_HANDLERS: Final[Mapping[EventKind, Callable[[LiquidStates, DrumEvent, Product, Moment], None]]] = {
    EventKind.RECEIVED: _received,
    EventKind.MOVED: _moved,
    EventKind.WEIGHED: _weighed,
    EventKind.TOPPED: _topped,
    EventKind.DECANTED: _decanted,
    EventKind.OPENED: _opened,
    EventKind.RESEALED: _resealed,
    EventKind.VENTED: _vented,
    EventKind.BLANKETED: _blanketed,
    EventKind.AGITATED: _agitated,
    EventKind.HEATED: _heated,
    EventKind.INSPECTED: _inspected,
    EventKind.RELEASED: _released,
    EventKind.EMPTIED: _ended,
    EventKind.DISPOSED: _ended,
}
