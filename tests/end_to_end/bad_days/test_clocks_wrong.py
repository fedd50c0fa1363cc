"""Clocks that are wrong by a year: told, refused or put right, and no concern of other sites."""

import time
from typing import Final

import pytest

from drumkeep_sensors.clock import EARLIEST_S
from tests.end_to_end.bad_days.conftest import Headquarters
from tests.fixtures import board
from tests.fixtures.company import Company, check_each_once
from tests.fixtures.process import wait_until

pytestmark = [pytest.mark.postgres, pytest.mark.broker, pytest.mark.slow, pytest.mark.timeout(120)]

YEAR_S: Final = 365 * 86_400.0
REFUSED_BACK_S: Final = 120 * 86_400.0
"""Past the 90 days that are taken, and later than anything a clock shows that was never set."""


def real_s() -> float:
    return time.time()  # noqa: TID251 - what the boards' clocks are held against


def wrong_by(seconds: float) -> board.Clock:
    """Return a clock that is ahead by so much, or behind."""
    real = real_s()
    return board.Clock(at=real, shows=real + seconds)


def never_set() -> board.Clock:
    """Return a clock that is behind by a year, and has not been set since its board was made."""
    real = real_s()
    return board.Clock(at=real, shows=min(real - YEAR_S, EARLIEST_S - 86_400.0))


def right() -> board.Clock:
    real = real_s()
    return board.Clock(at=real, shows=real)


def refusals(everyone: Company, site: str) -> set[str]:
    with everyone.client() as client:
        kept = client.get("/api/v1/readings/rejected", params={"limit": 200}).json()["items"]
    return {one["problem"] for one in kept if f"/{site}/" in one["source"]}


def test_years_off_are_told_and_harm_nobody_else_and_once_mended_readings_flow(
    headquarters: Headquarters,
):
    everyone = headquarters.everyone
    ahead, behind = everyone.open_site("ahead"), everyone.open_site("behind")
    unset, well = everyone.open_site("unset"), everyone.open_site("well")
    ahead.on_board(wrong_by(YEAR_S))
    behind.on_board(wrong_by(-REFUSED_BACK_S))
    unset.on_board(never_set())
    begun = real_s() * 1000
    for gateway in (ahead, behind, unset, well):
        gateway.start()

    wait_until(lambda: "is more than 10 minutes ahead" in refusals(everyone, "ahead"), "it tells")
    wait_until(lambda: "is more than 90 days back" in refusals(everyone, "behind"), "it tells")
    wait_until(lambda: "The clock is not known yet" in unset.told(), "the gateway tells")
    wait_until(lambda: unset.notes.undated() >= 20, "what it reads waits for the time")
    everyone.wait_for_more("well")
    with everyone.client() as client:
        page = client.get("/gateways").text
    assert "ahead" in page
    for site in ("ahead", "behind", "unset"):
        assert everyone.stored(site) == 0

    waited = unset.notes.count()
    for gateway in (ahead, behind, unset):
        gateway.on_board(right())
    for site in ("ahead", "behind", "unset"):
        wait_until(lambda: everyone.stored(site) > 0, f"{site} is heard")  # noqa: B023
    ended = real_s() * 1000

    check_each_once(everyone.settle("well"), at_least=20)
    check_each_once(everyone.settle("unset"), at_least=waited)
    first = sorted(ts for _, ts, _ in unset.notes.of())[:waited]
    assert begun <= first[0] <= first[-1] <= ended  # when they were read, though nobody knew then
    for site in ("ahead", "behind"):
        found = everyone.settle(site)
        # What had a wrong time was refused, and nothing else was.
        wrong = [one for one in found.missing if not begun - 1000 <= one[1] <= real_s() * 1000]
        assert (found.missing, found.twice, found.unheard_of) == (wrong, [], []), str(found)
        assert found.stored > 0
