"""Heaters on drums: where their heat enters the liquid, and when the thermostat holds it back.

A band warms the layers behind it, a base heater the bottom one, a blanket the whole side; what is
warmed rises by itself (the march overturns it), and what lies below stays cold.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.events import DrumEvent
from drumkeep.domain.grid import STEP_SECONDS, step_at
from drumkeep.domain.heaters import BAND_HEIGHT_M, BAND_WIDTH_M, Device, heater_of
from drumkeep.domain.liquid_state import LiquidStates, sets_first
from drumkeep.thermal.boundary import BLANKET_R_M2K_W
from drumkeep.thermal.geometry import DRUM_INSIDE_HEIGHT_M
from drumkeep.thermal.parameter_sets import SETS
from drumkeep.thermal.stratified import LAYERS, Liquid, depth, heat_capacity

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]


REACHES_LIQUID: Final = (0.75, 0.9, 1.0)
"""Share of the watts, slow, likely and fast: a bare band of 60 to 100 °C gives a tenth to a quarter
to the air (10 W/(m² K) on 0.18 m², of 1000 W; our reckoning)."""


def begin_heating(states: LiquidStates, *, event: DrumEvent) -> None:
    """Put a heater on the one drum in ``states``; it replaces an earlier one."""
    heater = heater_of(event)
    states["heat_device"] = heater.device
    states["heat_w"] = heater.watts
    states["heat_until"] = step_at(heater.until)
    states["heat_height_m"] = np.nan if heater.height_m is None else heater.height_m
    states["thermostat_c"] = np.nan if heater.thermostat_c is None else heater.thermostat_c
    usual = BLANKET_R_M2K_W if heater.device is Device.BLANKET else 0.0
    wrapped = heater.blanket_r_m2k_w
    states["heat_blanket_r"] = usual if wrapped is None else wrapped


def blanket_r(states: LiquidStates, *, step: Indices | int) -> Floats:
    """Return what lies over side and top of each drum at a step, m² K/W, shape (drum,)."""
    return np.where(step < states["heat_until"], states["heat_blanket_r"], 0.0)


def heat_w(states: LiquidStates, *, liquid: Liquid, step: Indices | int) -> Floats:
    """Return the heat that enters each layer over a step, W.

    Parameters
    ----------
    states
        Records, one a drum.
    liquid
        Their liquid under the three sets.
    step
        Grid step, or one for each.

    Returns
    -------
    ndarray
        Shape (3, drum, layer), or (layer,) of zeros where no heater is on.
    """
    on = np.flatnonzero((step < states["heat_until"]) & (states["heat_w"] > 0.0))
    if not len(on):
        return np.zeros(LAYERS)
    heat = np.zeros((SETS, len(states), LAYERS))
    heat[:, on] = _running(states[on], liquid.take(on))
    return heat


def _running(states: LiquidStates, liquid: Liquid) -> Floats:
    """Heat of drums whose heater is on, W, shape (3, drum, layer)."""
    layers = sets_first(states)
    mean = layers.mean(axis=-1)
    shares = layer_shares(states, depth_m=np.asarray(depth(liquid, mean_c=mean)[1]))
    enters = np.array(REACHES_LIQUID)[:, None, None]
    heat = enters * states["heat_w"][:, None] * shares
    # What is warmed rises, so the room up to the set point is that of all liquid from the lowest
    # warmed layer up: a thermostat never lets more in than that takes.
    capacity = heat_capacity(liquid, mean_c=mean)[..., None] / LAYERS
    set_point = states["thermostat_c"][:, None]
    above_lowest = np.cumsum(shares, axis=-1) > 0.0
    room = np.where(above_lowest, np.maximum(set_point - layers, 0.0), 0.0) * capacity
    most = room.sum(axis=-1, keepdims=True) / STEP_SECONDS
    total = heat.sum(axis=-1, keepdims=True)
    held = np.where(np.isfinite(set_point) & (total > most), most / np.maximum(total, 1e-9), 1.0)
    return np.asarray(heat * held, dtype=np.float64)


def layer_shares(states: LiquidStates, *, depth_m: Floats) -> Floats:
    """Return the share of each heater's heat that enters each layer, shape (drum, layer).

    What a band or blanket gives to the wall above the liquid is lost.
    """
    device = states["heat_device"]
    edges = depth_m[:, None] * np.arange(LAYERS + 1) / LAYERS
    middle = band_middle(states["heat_height_m"], depth_m=depth_m)
    low, high = middle - 0.5 * BAND_WIDTH_M, middle + 0.5 * BAND_WIDTH_M
    covered = np.clip(edges, np.maximum(low, 0.0)[:, None], high[:, None])
    behind = np.diff(covered, axis=-1) / (high - np.maximum(low, 0.0))[:, None]
    wetted = np.minimum(depth_m / DRUM_INSIDE_HEIGHT_M, 1.0)
    shares = np.full((len(states), LAYERS), 1.0 / LAYERS)
    shares[device == Device.BLANKET] *= wetted[device == Device.BLANKET, None]
    shares[device == Device.BAND] = behind[device == Device.BAND]
    shares[device == Device.BASE] = np.eye(LAYERS)[0]
    return shares


def band_middle(height_m: Floats, *, depth_m: Floats) -> Floats:
    """Height of a band's middle above the bottom, m; the usual one where it is NaN."""
    usual = np.minimum(BAND_HEIGHT_M, 0.5 * depth_m)
    return np.where(np.isfinite(height_m), height_m, usual)
