"""What dips say of a place's film, and how it is drawn towards the named one."""

import numpy as np
import pytest

from drumkeep.domain.film import (
    DEAD_BAND,
    LEAST_HALF_RANGE,
    NAMED_FILM,
    PRIOR_SIGMA,
    Evidence,
    FilmInForce,
    Learned,
    differs,
    evidence_of,
    film_at,
    learn,
)

TWO_SIDED_90 = 1.645


def dips(true_factor, *, count, sigma=0.3, seed=1):
    """Evidence of so many dips in a place of this film, with noise."""
    noise = np.random.default_rng(seed).normal(0.0, sigma, count)
    return [Evidence(float(np.log(true_factor) + off), sigma) for off in noise]


def test_without_dips_the_named_film_and_its_range_hold():
    found = learn([])

    assert (found.factor, found.dips) == (1.0, 0)
    assert found.half_range == pytest.approx(1.25)


def test_one_dip_is_weighed_against_the_prior_by_their_variances():
    # Normal prior, normal likelihood: precision-weighted mean (any text on Bayes, e.g. Gelman 2.5).
    found = learn([Evidence(log_factor=0.2, sigma=0.2)])

    weight = PRIOR_SIGMA**2 / (PRIOR_SIGMA**2 + 0.2**2)
    assert np.log(found.factor) == pytest.approx(weight * 0.2)
    posterior = np.sqrt(weight * 0.2**2)
    assert np.log(found.half_range) == pytest.approx(TWO_SIDED_90 * posterior)


def test_what_is_learned_lies_between_the_named_film_and_the_truth_and_closes_in():
    errors, ranges = [], []
    for count in (1, 4, 16, 64, 256):
        found = [learn(dips(1.3, count=count, seed=seed)) for seed in range(40)]
        errors.append(float(np.mean([abs(np.log(f.factor / 1.3)) for f in found])))
        ranges.append(float(np.mean([f.half_range for f in found])))
        assert 1.0 < np.mean([f.factor for f in found]) < 1.3
    assert errors == sorted(errors, reverse=True)
    assert ranges == sorted(ranges, reverse=True)
    assert errors[-1] < 0.25 * errors[0]


def test_the_half_range_never_falls_under_its_floor():
    assert learn(dips(1.0, count=10_000)).half_range == LEAST_HALF_RANGE


def test_a_few_dips_that_cannot_be_pull_little():
    good = dips(1.2, count=20, sigma=0.15)
    wild = [Evidence(-3.0, 0.15) for _ in range(3)]

    plain = np.exp(np.mean([e.log_factor for e in good + wild]))
    assert plain < 0.9
    assert learn(good + wild).factor == pytest.approx(learn(good).factor, rel=0.08)


def test_a_dip_is_counted_from_the_film_that_its_computation_had():
    def said(in_force):
        return evidence_of(
            innovation_k=-1.0,
            expected_k=1.0,
            sigma_k=0.5,
            sensitivity_k=-5.0,
            in_force=in_force,
        )

    named, learned = said(NAMED_FILM), said(FilmInForce(step=0, factor=1.2, half_range=1.1))
    # 1 K colder than computed where an e times stronger film cools by 5 K: a fifth of that
    assert named.log_factor == pytest.approx(0.2)
    assert learned.log_factor == pytest.approx(0.2 + np.log(1.2))
    assert learned.sigma > named.sigma  # less of the innovation was put down to the film
    assert named.sigma >= 0.5 / 5.0


def test_a_dip_that_no_film_would_have_moved_says_nothing():
    said = evidence_of(
        innovation_k=1.0, expected_k=1.0, sigma_k=0.5, sensitivity_k=0.3, in_force=NAMED_FILM
    )

    assert said is None


def test_a_small_change_is_not_put_in_force():
    held = FilmInForce(step=0, factor=1.1, half_range=1.15)

    assert not differs(Learned(1.1 * (1.0 + 0.5 * DEAD_BAND), 1.15, 5), from_=held)
    assert differs(Learned(1.1 * (1.0 + 2.0 * DEAD_BAND), 1.15, 5), from_=held)
    assert differs(Learned(1.1, 1.10, 5), from_=held)


def test_a_film_holds_from_its_step_until_the_next():
    course = [FilmInForce(10, 1.2, 1.1), FilmInForce(20, 1.0, 1.25)]

    assert [film_at(course, step=step).factor for step in (9, 10, 19, 20, 99)] == [
        1.0,
        1.2,
        1.2,
        1.0,
        1.0,
    ]
