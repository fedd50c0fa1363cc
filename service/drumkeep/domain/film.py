"""The film of a place: what its drums' dips say of the air's motion there.

A place's motion and standing name its films to about a quarter. Every dip compares computed with
measured; what is left over, over what a weaker or stronger film would have changed, says how far
the named film is off. Few dips say little: the factor is drawn towards 1 by the prior.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from drumkeep.thermal.band import TWO_SIDED_90
from drumkeep.thermal.parameter_sets import NAMED_FILM_RANGE

PRIOR_SIGMA: Final = float(np.log(NAMED_FILM_RANGE)) / TWO_SIDED_90
"""Of the logarithm of the factor, before any dip: the named film's range is its 90 %."""

LEAST_HALF_RANGE: Final = 1.08
"""However many dips agree: other drums stand elsewhere in the place (our judgement)."""

LEAST_FACTOR: Final = 0.4
MOST_FACTOR: Final = 2.5
"""Beyond these a factor is no film any more but another mistake (our judgement)."""

DEAD_BAND: Final = 0.03
"""A factor that would move by less than this, and half-range that would too, stays as it is."""

LEAST_SENSITIVITY_K: Final = 0.5
"""A dip that a film three times as strong would not have moved by about this says nothing."""

OUTLIER_SIGMAS: Final = 2.0
"""Beyond this a dip pulls no harder than at it (Huber 1964); ``_REWEIGHTINGS`` rounds find it."""

_REWEIGHTINGS: Final = 20


class FilmSource(StrEnum):
    """Who says what the film of a place is."""

    LEARNED = "learned"
    PINNED = "pinned"
    RESET = "reset"


@dataclass(frozen=True)
class FilmInForce:
    """From a grid step on: the factor on a place's films, and its half-range, a factor too."""

    step: int
    factor: float = 1.0
    half_range: float = NAMED_FILM_RANGE


NAMED_FILM: Final = FilmInForce(step=-(2**62))
"""Nothing learned and nothing pinned: the films that the place's motion and standing name."""


def film_at(course: Sequence[FilmInForce], *, step: int) -> FilmInForce:
    """Return what is in force at a step; ``course`` in order of time."""
    found = NAMED_FILM
    for film in course:
        if film.step > step:
            break
        found = film
    return found


@dataclass(frozen=True)
class Evidence:
    """What one dip says of the logarithm of its place's factor: a value, and how well."""

    log_factor: float
    sigma: float


@dataclass(frozen=True)
class Learned:
    """A factor, its half-range (a factor), and how many dips it rests on."""

    factor: float
    half_range: float
    dips: int


def evidence_of(
    *,
    innovation_k: float,
    expected_k: float,
    sigma_k: float,
    sensitivity_k: float,
    in_force: FilmInForce,
) -> Evidence | None:
    """Return what a dip says of the film; None where the film did not matter to it.

    Relative to the factor that the computation had, so that what was learned from earlier dips is
    not learned again.

    Parameters
    ----------
    innovation_k
        Measured minus computed, K.
    expected_k
        Standard deviation of that, K, the film's own share of it included.
    sigma_k
        Of the measurement alone, K.
    sensitivity_k
        Change of what was computed for a film e times as strong, K.
    in_force
        What the computation had.
    """
    if abs(sensitivity_k) < LEAST_SENSITIVITY_K:
        return None
    film_k = sensitivity_k * np.log(in_force.half_range) / TWO_SIDED_90
    other = max(expected_k**2 - film_k**2, sigma_k**2)
    return Evidence(
        log_factor=float(np.log(in_force.factor)) + innovation_k / sensitivity_k,
        sigma=float(np.sqrt(other)) / abs(sensitivity_k),
    )


def learn(evidence: Sequence[Evidence]) -> Learned:
    """Return the factor that dips and prior give: the mode of a robust posterior.

    Normal prior, Huber likelihood, solved by reweighting.
    """
    values = np.array([e.log_factor for e in evidence])
    weights = np.array([e.sigma for e in evidence]) ** -2.0
    prior = PRIOR_SIGMA**-2.0
    log_factor, trust = 0.0, np.ones_like(weights)
    for _ in range(_REWEIGHTINGS):
        log_factor = float((weights * trust) @ values / (prior + float(weights @ trust)))
        off = np.abs(values - log_factor) * np.sqrt(weights)
        trust = np.minimum(1.0, OUTLIER_SIGMAS / np.maximum(off, OUTLIER_SIGMAS))
    sigma = (prior + float(weights @ trust)) ** -0.5
    return Learned(
        factor=float(np.clip(np.exp(log_factor), LEAST_FACTOR, MOST_FACTOR)),
        half_range=max(float(np.exp(TWO_SIDED_90 * sigma)), LEAST_HALF_RANGE),
        dips=len(evidence),
    )


def differs(new: Learned, *, from_: FilmInForce) -> bool:
    """Whether what was learned is far enough from what is in force to be put in force."""
    return bool(
        abs(np.log(new.factor / from_.factor)) >= DEAD_BAND
        or abs(np.log(new.half_range / from_.half_range)) >= DEAD_BAND
    )
