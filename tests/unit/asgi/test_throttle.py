"""Guessing passwords is slowed down, and forgotten after a while."""

from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.asgi.authentication import Throttle
from drumkeep.asgi.problems import TooOften

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)
SECOND = timedelta(seconds=1)


def failed(throttle, key="anna", times=3, at=NOW):
    for _ in range(times):
        throttle.failed(key, now=at)


def test_it_closes_after_so_many_failures_and_says_for_how_long():
    throttle = Throttle(failures=3, window=timedelta(minutes=5))
    failed(throttle, times=2)
    throttle.check("anna", now=NOW)
    failed(throttle, times=1, at=NOW + 60 * SECOND)

    with pytest.raises(TooOften) as refused:
        throttle.check("anna", now=NOW + 60 * SECOND)

    assert refused.value.retry_s == 241


def test_it_opens_again_when_the_failures_are_old():
    throttle = Throttle(failures=3, window=timedelta(minutes=5))
    failed(throttle)

    with pytest.raises(TooOften):
        throttle.check("anna", now=NOW + timedelta(minutes=5) - SECOND)
    throttle.check("anna", now=NOW + timedelta(minutes=5))


def test_a_success_forgets_and_others_are_not_held_up():
    throttle = Throttle(failures=3)
    failed(throttle, "anna")
    throttle.check("ben", now=NOW)
    throttle.succeeded("anna")

    throttle.check("anna", now=NOW)


def test_it_remembers_no_more_than_it_should():
    throttle = Throttle(failures=1, remembered=100)
    for number in range(1000):
        throttle.failed(f"name {number}", now=NOW)

    throttle.check("name 0", now=NOW)
    assert len(throttle._failed) == 100
