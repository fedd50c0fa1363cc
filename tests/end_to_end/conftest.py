"""What is common to tests of processes: they may wait."""

from pathlib import Path
from typing import Final

import pytest

LONGEST_FIRST: Final = (
    "test_demo",
    "test_three_days_away",
    "test_disk_full",
    "test_in_a_browser",
    "test_tasks_in_a_browser",
    "test_killed",
    "test_notices",
    "test_cold_night",
    "test_sessions",
    "test_credential_revoked",
)
"""Files that take twenty seconds or more: begun last, one would hold up the end of the run."""

HERE: Final = Path(__file__).parent
PATIENCE_S: Final = 180.0
"""Beside other work on the machine each process may take a minute to come up."""


# Before pytest-timeout reads the marks.
@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Give every test here the time that it may need on a loaded machine."""
    for item in items:
        if item.path.is_relative_to(HERE) and item.get_closest_marker("timeout") is None:
            item.add_marker(pytest.mark.timeout(PATIENCE_S))


# After the order was drawn by lot.
@pytest.hookimpl(trylast=True, specname="pytest_collection_modifyitems")
def begin_with_the_longest(items: list[pytest.Item]) -> None:
    """Put the files that take longest first; of one file and of the others the order stays."""
    items.sort(key=place_in_line)


def place_in_line(item: pytest.Item) -> int:
    """Return the place of a test's file among those that come first."""
    name = item.path.stem
    return LONGEST_FIRST.index(name) if name in LONGEST_FIRST else len(LONGEST_FIRST)
