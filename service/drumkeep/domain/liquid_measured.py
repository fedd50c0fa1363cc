"""What a measurement of the liquid or of the wall does to the computed layers.

A Kalman step: every layer moves by the covariance that it has with what was measured, and the band
of every layer shrinks as its standard deviation does. What lies beyond the gate is not used, but
remembered: another one that agrees with it is believed, and the model was wrong.

Half-ranges of the band count as 1.645 standard deviations (90 %, two-sided).
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.liquid_observed import (
    BY_HAND,
    Beside,
    Observation,
    Reading,
    observe,
)
from drumkeep.domain.liquid_start import begin_measured
from drumkeep.domain.liquid_state import (
    MEASURED_STEPS,
    NEVER,
    UNSUPPORTED_K,
    LiquidStates,
    hidden_doubt,
    kept_at,
)
from drumkeep.thermal.band import TWO_SIDED_90, layer_error
from drumkeep.thermal.drive import drive_of
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SLOW
from drumkeep.thermal.stratified import LAYERS

Floats = NDArray[np.float64]

CORRELATED_LAYERS: Final = LAYERS / 2
"""The model's errors of two layers so far apart are correlated by 1/e: half the depth."""

PROBE_SIGMA_K: Final = 1.0
KNOWN_K: Final = 0.95 * UNSUPPORTED_K
"""A measurement as good as this makes the liquid known: it leaves no more doubt than that."""

TINY: Final = 1e-12

GATE_SIGMAS: Final = 3.0
LEAST_GATE_K: Final = 2.0
WIDEST_GATE_K: Final = 5.0
"""Beyond three standard deviations of the innovation a measurement is not used: never when it is
less than 2 K off, always when it is more than 5 K off a liquid that counts as known. Where nothing
but the air has told what a drum began at, the first measurement is believed whatever it says."""

AGREEING_SIGMAS: Final = 2.0
CONFIRMING_STEPS: Final = MEASURED_STEPS
"""Within two hours a second measurement may bear out one that was refused."""


class Use(StrEnum):
    """What became of a measurement."""

    USED = "used"
    BEGAN = "began"
    REFUSED = "refused"
    CONFIRMED = "confirmed"


@dataclass(frozen=True)
class Taken:
    """One measurement as it was met, °C and K: shown to people, and what films are learned from.

    ``computed_c`` and ``after_c`` are of the very thing that was measured: the liquid at that
    height, or the wall. ``expected_k`` is the standard deviation of the innovation.
    """

    step: int
    measured_c: float
    computed_c: float | None
    after_c: float | None
    innovation_k: float | None
    expected_k: float | None
    sigma_k: float
    use: Use


def take(reading: Reading, *, states: LiquidStates, beside: Beside) -> Taken:
    """Correct the one record in ``states`` by a reading, in place, or refuse to."""
    seen = observe(reading, states=states, beside=beside)
    layers = states["layers"]
    if not np.isfinite(layers).all():
        return _begin(reading, seen, states=states, step=beside.step)
    computed = float(seen.of(layers[0, LIKELY]))
    innovation = reading.c - computed
    states["innovation_k"] = innovation
    covariance = covariance_of(states, beside=beside)
    noise = seen.sigma_k**2
    expected = float(np.sqrt(seen.row @ covariance @ seen.row + noise))
    use = _use(
        innovation, expected, reading=reading, sigma_k=seen.sigma_k, states=states, at=beside
    )
    after = computed
    if use is Use.REFUSED:
        _remember(states, innovation, reading=reading, sigma_k=seen.sigma_k, step=beside.step)
    else:
        if use in (Use.CONFIRMED, Use.BEGAN):
            # What was computed was wrong, by as much in every layer as far as anybody knows.
            share = float(seen.row.sum())
            off = innovation / share
            covariance = covariance + off**2
            states["doubt_k"] = np.maximum(
                states["doubt_k"], _apart(states) + 2.0 * TWO_SIDED_90 * abs(off)
            )
        _correct(
            states,
            innovation,
            seen=seen,
            covariance=covariance,
            fixed=reading.fixed,
            step=beside.step,
        )
        _settle(states, reading=reading, sigma_k=seen.sigma_k, step=beside.step)
        after = float(seen.of(layers[0, LIKELY]))
    return Taken(
        step=beside.step,
        measured_c=reading.c,
        computed_c=computed,
        after_c=after,
        innovation_k=innovation,
        expected_k=expected,
        sigma_k=seen.sigma_k,
        use=use,
    )


def left_by(reading: Reading, *, states: LiquidStates, beside: Beside) -> LiquidStates:
    """Return the one record as it would be after such a reading that agreed with it.

    What such a reading would be worth: compare the bands before and after.
    """
    agreed = states.copy()
    seen = observe(reading, states=agreed, beside=beside)
    computed = float(seen.of(agreed["layers"][0, LIKELY]))
    take(replace(reading, c=computed), states=agreed, beside=beside)
    return agreed


def covariance_of(states: LiquidStates, *, beside: Beside) -> Floats:
    """Covariance of the likely layers of one drum, K², shape (layer, layer).

    What the slow and the fast set are apart is one direction; the air sensors' error and the doubt
    are common to all layers; the model's own error is correlated over half the depth.
    """
    layers = states["layers"][0]
    drive = abs(beside.side_c - float(layers[LIKELY].mean()))
    drive = max(float(drive_of(states["ring"])[0]), drive if np.isfinite(drive) else 0.0)
    kept = kept_at(states, step=beside.step)[0]
    apart = 0.5 * (layers[FAST] - layers[SLOW])
    sensors = kept * beside.sensor_error_k
    model = kept * layer_error(drive)
    doubt = np.full(LAYERS, hidden_doubt(states)[0])
    number = np.arange(LAYERS)
    correlation = np.exp(-np.abs(number[:, None] - number) / CORRELATED_LAYERS)
    common = sum(np.outer(part, part) for part in (apart, sensors, doubt))
    return np.asarray((common + np.outer(model, model) * correlation) / TWO_SIDED_90**2)


def _use(
    innovation: float,
    expected: float,
    *,
    reading: Reading,
    sigma_k: float,
    states: LiquidStates,
    at: Beside,
) -> Use:
    state = states[0]
    gate = max(GATE_SIGMAS * expected, LEAST_GATE_K)
    if state["resolved"] and state["doubt_k"] < UNSUPPORTED_K:
        gate = min(gate, WIDEST_GATE_K)
    if abs(innovation) <= gate:
        return Use.USED
    if not state["resolved"]:
        return Use.BEGAN
    refused = int(state["refused_step"])
    recent = refused != NEVER and at.step - refused <= CONFIRMING_STEPS
    # the same sensor errs alike the second time; a hand has dipped anew
    other = reading.source == BY_HAND or reading.source != int(state["refused_source"])
    within = AGREEING_SIGMAS * float(np.hypot(sigma_k, state["refused_sigma_k"]))
    agrees = abs(innovation - float(state["refused_k"])) <= within
    return Use.CONFIRMED if recent and other and agrees else Use.REFUSED


def _correct(
    states: LiquidStates,
    innovation: float,
    *,
    seen: Observation,
    covariance: Floats,
    fixed: bool,
    step: int,
) -> None:
    """Move all sets by the gain and draw them together as the standard deviations shrink."""
    row = seen.row
    toward = covariance @ row
    seen_variance = float(row @ toward)
    total = seen_variance + seen.sigma_k**2
    gain = toward / total
    variance = np.diag(covariance)
    left = np.sqrt(_share_left(variance - gain * toward, of=variance))
    mean_left = float(
        np.sqrt(_share_left(covariance.mean() - gain.mean() * toward.mean(), of=covariance.mean()))
    )
    if fixed and seen_variance > 0.0:
        # What an instrument is always off by stays in the band however often it reads.
        least = min(1.0, seen.sigma_k / float(np.sqrt(seen_variance)))
        left, mean_left = np.maximum(left, least), max(mean_left, least)
    layers = states["layers"][0]
    likely = layers[LIKELY].copy()
    moved = likely + gain * innovation + (layers - likely) * left
    states["layers"][0] = [
        _stable(lane, weights=1.0 / (variance * left**2 + TINY)) for lane in moved
    ]
    states["kept"] = kept_at(states, step=step) * left
    states["measured_step"] = step
    states["doubt_k"] *= mean_left


def _stable(lane: Floats, *, weights: Floats) -> Floats:
    """Nearest stack that never falls from bottom to top, what is surest moving least (layer,).

    Isotonic regression by pooling adjacent violators. Heat is not kept: it was measured.
    """
    pools: list[tuple[float, float, int]] = []
    for level, weight in zip(lane.tolist(), weights.tolist(), strict=True):
        pool = (level, weight, 1)
        while pools and pools[-1][0] > pool[0]:
            below, trust, count = pools.pop()
            total = trust + pool[1]
            pool = ((below * trust + pool[0] * pool[1]) / total, total, count + pool[2])
        pools.append(pool)
    return np.repeat([level for level, _, _ in pools], [count for _, _, count in pools])


def _share_left(variance: Floats, *, of: Floats) -> Floats:
    """Share of a variance that is left; all of none."""
    return np.asarray(
        np.clip(np.where(of > 0.0, variance / np.where(of > 0.0, of, 1.0), 1.0), 0, 1)
    )


def _settle(states: LiquidStates, *, reading: Reading, sigma_k: float, step: int) -> None:
    """Note that the liquid was measured; what a hand or the same sensor disputed is over."""
    states["resolved"] = True
    if sigma_k <= PROBE_SIGMA_K:
        states["doubt_k"] = np.minimum(states["doubt_k"], KNOWN_K)
    if not (reading.fixed and reading.on_wall):
        states["dip_step"] = step
    if reading.source in (BY_HAND, int(states["refused_source"][0])):
        states["refused_step"] = states["refused_source"] = NEVER
        states["refused_k"] = states["refused_sigma_k"] = np.nan


def _remember(
    states: LiquidStates, innovation: float, *, reading: Reading, sigma_k: float, step: int
) -> None:
    state = states[0]
    recent = state["refused_step"] != NEVER and step - state["refused_step"] <= CONFIRMING_STEPS
    if reading.fixed and recent and state["refused_source"] == BY_HAND:
        return  # a strap that errs each hour must not wipe out what a hand found
    states["refused_step"] = step
    states["refused_k"] = innovation
    states["refused_sigma_k"] = sigma_k
    states["refused_source"] = reading.source


def _apart(states: LiquidStates) -> Floats:
    layers = states["layers"]
    return np.asarray(np.abs((layers[:, FAST] - layers[:, SLOW]).mean(axis=-1)), dtype=np.float64)


def _begin(reading: Reading, seen: Observation, *, states: LiquidStates, step: int) -> Taken:
    """Start a drum of which nothing was known: all of its liquid as it was measured."""
    share = float(seen.row.sum())
    begin_measured(
        states,
        likely=(reading.c - seen.offset_c) / share,
        spread=seen.sigma_k / share * TWO_SIDED_90,
    )
    _settle(states, reading=reading, sigma_k=seen.sigma_k, step=step)
    return Taken(
        step=step,
        measured_c=reading.c,
        computed_c=None,
        after_c=reading.c,
        innovation_k=None,
        expected_k=None,
        sigma_k=seen.sigma_k,
        use=Use.BEGAN,
    )
