"""What each kind of event does to the liquid of one drum.

Heat, mass, seal and memory only; who may do what and whether it makes sense is decided when the
event is recorded (``domain.drums``).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.events import DrumEvent, EventKind
from drumkeep.domain.grid import step_at
from drumkeep.domain.liquid_memory import redissolved
from drumkeep.domain.liquid_state import (
    NEVER,
    UNSUPPORTED_K,
    LiquidStates,
    Solids,
    band_at,
)
from drumkeep.domain.products import Product, Side
from drumkeep.thermal.band import MEAN_K, REST_K
from drumkeep.thermal.geometry import CROSS_SECTION_M2
from drumkeep.thermal.headspace import headspace_m3
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SLOW
from drumkeep.thermal.stratified import LAYERS

Floats = NDArray[np.float64]

RECEIVED_SEAL_C: Final = 20.0
"""A received drum counts as sealed at 20 °C at its received fill."""

DIP_SIGMA_K: Final = 0.5
SKIN_SIGMA_K: Final = 1.5
"""A probe's class; paint, glue and the wall film under a skin reading (our judgement)."""

START_SIGMA_K: Final = 0.5

TOPPED_DOUBT_K: Final = 10.0
"""Liquid poured in from another drum may differ by so much; its share of this is left in doubt."""

TWO_SIDED_90: Final = 1.645


@dataclass(frozen=True)
class StartAir:
    """Air (°C) where a drum came from, over the 48 h before receipt."""

    low_c: float
    mean_c: float
    high_c: float


@dataclass(frozen=True)
class Moment:
    """The step at which an event is applied, and what surrounds the drum then."""

    step: int
    air_c: float
    sensor_error_k: float
    start_air: StartAir | None
    find_place: Callable[[Mapping[str, Any]], int]


def apply_event(
    states: LiquidStates, *, event: DrumEvent, product: Product, moment: Moment
) -> None:
    """Apply one event to the one record in ``states`` (shape (1,)), in place."""
    handler = _HANDLERS.get(event.kind)
    if handler is not None and (states["alive"][0] or event.kind is EventKind.RECEIVED):
        handler(states, event, product, moment)


def _received(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    data = event.data
    state = states[0]
    state["alive"] = True
    state["mass_kg"] = data.get("net_kg") or product.properties.net_kg
    state["place"] = moment.find_place(data)
    liquid_c = data.get("liquid_c")
    if liquid_c is not None:
        _start(states, low=liquid_c, likely=liquid_c, high=liquid_c, spread=START_SIGMA_K)
        state["dip_step"], state["dip_share"] = moment.step, 0.5
    elif moment.start_air is not None:
        air = moment.start_air
        _start(states, low=air.low_c, likely=air.mean_c, high=air.high_c, spread=0.0)
    _seal(states, product, at_c=RECEIVED_SEAL_C, blanket_kpa=0.0)


def _start(states: LiquidStates, *, low: float, likely: float, high: float, spread: float) -> None:
    layers = states["layers"]
    layers[0, SLOW] = low - spread
    layers[0, LIKELY] = likely
    layers[0, FAST] = high + spread
    states["doubt_k"] = (high - low) + 2.0 * spread
    states["resolved"] = states["doubt_k"] < UNSUPPORTED_K


def set_start(states: LiquidStates, *, likely: float, spread: float) -> None:
    """Start the liquid at a temperature found from a later measurement, in place."""
    _start(states, low=likely, likely=likely, high=likely, spread=spread)
    states["resolved"] = True


def _moved(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del product
    states["place"] = moment.find_place(event.data)


def _weighed(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del product, moment
    _set_mass(states, float(event.data["net_kg"]))


def _topped(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del product, moment
    added = float(event.data["kg"])
    mass = float(states["mass_kg"][0]) + added
    states["mass_kg"] = mass
    states["doubt_k"] += TOPPED_DOUBT_K * added / mass


def _decanted(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del product, moment
    _set_mass(states, float(states["mass_kg"][0]) - float(event.data["kg"]))


def _set_mass(states: LiquidStates, mass_kg: float) -> None:
    """Take liquid away from the bottom, where the pump draws, or add it; then layer anew."""
    before = float(states["mass_kg"][0])
    states["mass_kg"] = max(mass_kg, 0.0)
    if not 0.0 < mass_kg < before:
        return
    gone = 1.0 - mass_kg / before
    edges = np.arange(LAYERS + 1) / LAYERS
    for lane in states["layers"][0]:
        heat = np.concatenate([[0.0], np.cumsum(lane)]) / LAYERS
        kept = np.interp(gone + (1.0 - gone) * edges, edges, heat)
        lane[:] = np.diff(kept) * LAYERS / (1.0 - gone)


def _measured(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    """Correct all layers by the weight that follows from both uncertainties."""
    data = event.data
    measured = float(data["c"])
    is_dip = event.kind is EventKind.DIPPED
    sigma = float(data.get("sigma_k") or (DIP_SIGMA_K if is_dip else SKIN_SIGMA_K))
    layers = states["layers"]
    if not np.isfinite(layers).all():
        _start(states, low=measured, likely=measured, high=measured, spread=2.0 * sigma)
        states["resolved"] = True
        states["dip_step"], states["dip_share"] = moment.step, 0.5
        return
    layer = layer_at(
        height_m=data.get("height_m"),
        mass_kg=float(states["mass_kg"][0]),
        density_kg_m3=product.properties.density_kg_m3,
    )
    lanes = layers[0, :, layer]
    drive = abs(moment.air_c - float(layers[0, LIKELY].mean())) if np.isfinite(moment.air_c) else 0
    band = band_at(
        states,
        step=moment.step,
        sensor_error_k=moment.sensor_error_k,
        drive_k=np.array([float(drive)]),
    )
    model = float(np.mean([band.bottom_high - band.bottom_low, band.top_high - band.top_low])) / 2.0
    model = max(model, MEAN_K * REST_K, float(states["doubt_k"][0]) / 2.0) / TWO_SIDED_90
    weight = model**2 / (model**2 + sigma**2)
    innovation = measured - float(lanes[LIKELY])
    likely = layers[0, LIKELY].copy()
    layers[0] = likely + weight * innovation + (1.0 - weight) * (layers[0] - likely)
    states["doubt_k"] *= 1.0 - weight
    states["dip_share"] = weight
    states["dip_step"] = moment.step
    states["innovation_k"] = innovation
    states["resolved"] = True


def layer_at(*, height_m: float | None, mass_kg: float, density_kg_m3: float) -> int:
    """Layer (0 the bottom) at a height above the bottom of the liquid; mid-depth where None."""
    depth = mass_kg / (density_kg_m3 * CROSS_SECTION_M2)
    share = 0.5 if height_m is None else height_m / depth if depth > 0.0 else 0.0
    return int(np.clip(int(share * LAYERS), 0, LAYERS - 1))


def _agitated(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del product
    layers = states["layers"]
    layers[:] = layers.mean(axis=-1, keepdims=True)
    states["agitated_step"] = moment.step
    if states["warm_steps"][0] > 0:
        states["warm_agitated_min"] += float(event.data["minutes"])


def _opened(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del event, product, moment
    states["sealed"] = False
    states["opened"] = True


def _resealed(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del event, moment
    _seal(states, product, at_c=_mean(states), blanket_kpa=0.0)


def _vented(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del event, moment
    _seal(states, product, at_c=_mean(states), blanket_kpa=0.0)


def _blanketed(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del moment
    kpa = float(event.data["kpa"])
    if event.data.get("regulator", False):
        states["regulated_kpa"] = kpa
        states["sealed"] = False
        return
    _seal(states, product, at_c=_mean(states), blanket_kpa=kpa)


def _seal(states: LiquidStates, product: Product, *, at_c: float, blanket_kpa: float) -> None:
    states["sealed"] = True
    states["regulated_kpa"] = np.nan
    states["seal_c"] = at_c
    states["seal_blanket_kpa"] = blanket_kpa
    states["seal_saturation"] = 1.0
    states["seal_headspace_m3"] = headspace_m3(
        mass_kg=states["mass_kg"],
        density_kg_m3=product.properties.density_kg_m3,
        expansion_1_k=product.properties.expansion_1_k,
        temperature_c=at_c,
    )


def _mean(states: LiquidStates) -> float:
    mean = float(states["layers"][0, LIKELY].mean())
    return mean if np.isfinite(mean) else RECEIVED_SEAL_C


def _heated(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    del product, moment
    states["heat_w"] = float(event.data["watts"])
    states["heat_until"] = step_at(_when(event.data["until"]))


def _when(value: object) -> datetime:
    return value if isinstance(value, datetime) else datetime.fromisoformat(str(value))


def _inspected(states: LiquidStates, event: DrumEvent, product: Product, moment: Moment) -> None:
    look = event.data
    if look.get("bulge") not in (None, "none"):
        states["bulged"] = True
    if product.side is not Side.ISO:
        return
    solids = look.get("solids")
    if solids not in (None, "none"):
        states["solids"] = Solids.SEEN
        return
    if solids != "none" or not look.get("reached_bottom"):
        return
    band = band_at(
        states, step=moment.step, sensor_error_k=moment.sensor_error_k, drive_k=np.zeros(1)
    )
    seen = states["solids"][0] == Solids.SEEN
    clear = redissolved(states)[0] if seen else band.bottom_low[0] >= product.limits.seed_c
    if clear:
        states["solids"] = Solids.NONE
        states["cold_steps"] = 0
        states["deep_steps"] = 0


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
    EventKind.DIPPED: _measured,
    EventKind.SKIN: _measured,
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
