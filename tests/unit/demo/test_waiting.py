"""What the demo waits for before it says that every drum is computed."""

from datetime import UTC, datetime
from typing import Any

from drumkeep.demo import company
from drumkeep.demo.waiting import all_computed
from drumkeep.domain.readiness import NOT_COMPUTED

PRESENT = datetime(2026, 11, 26, 9, tzinfo=UTC)
NOW = PRESENT.isoformat()
LONG_AGO = datetime(2026, 1, 1, tzinfo=UTC).isoformat()
HEARD = next(s.place for s in company.SENSORS if s.place is not None and s.silent_from is None)


def _computed(drums: list[dict[str, Any]]) -> bool:
    return all_computed(drums, now=PRESENT)


def drum(place: str | None = HEARD, *, at: str = NOW, to: str | None = NOW) -> dict[str, Any]:
    """Return a drum as the API answers it."""
    estimate = {"at": at, "supported_to": to}
    return {"place": place, "estimate": estimate, "readiness": {"reasons": ["It is well."]}}


def without_temperature(reason: str) -> dict[str, Any]:
    """Return a drum of which nothing is known."""
    return {**drum(), "estimate": None, "readiness": {"reasons": [reason]}}


def test_it_waits_for_drums_that_are_not_computed_to_the_present():
    assert _computed([drum()])
    assert not _computed([])
    assert not _computed([drum(), drum(at=LONG_AGO)])
    assert not _computed([drum(), drum(to=None)])
    assert not _computed([drum(), without_temperature(NOT_COMPUTED)])


def test_it_does_not_wait_for_drums_that_cannot_be_computed_nor_for_air_that_nobody_measures():
    assert _computed([drum(), without_temperature("Nobody measured it, and no air was on record.")])
    assert _computed([drum(), drum("somewhere/new", to=None)])
