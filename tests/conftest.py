"""What every suite shares: hypothesis profiles, and which suites wait for which program."""

import gc
import os

import pytest
from hypothesis import settings

from tests.fixtures.broker import mosquitto
from tests.fixtures.browser import chromium
from tests.fixtures.passwords import shipped_hashes
from tests.fixtures.postgres import postgres
from tests.fixtures.programs import PROGRAMS
from tests.fixtures.stores import STORES, on_postgresql, on_sqlite, store

__all__ = [
    "chromium",
    "mosquitto",
    "on_postgresql",
    "on_sqlite",
    "postgres",
    "shipped_hashes",
    "store",
]

# A run on a loaded machine is slow without being wrong, so no example has a deadline; the time-out
# of the whole test (pyproject.toml) stands.
settings.register_profile("dev", max_examples=25, deadline=None)
settings.register_profile("ci", max_examples=200, deadline=None, derandomize=True, database=None)
settings.register_profile("thorough", max_examples=2000, deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "dev")


# What is imported stays: to look through it for garbage takes a minute of a whole run.
gc.disable()


def pytest_report_header() -> list[str]:
    """Say which suites are left out, and why."""
    return [
        f"left out: tests marked {program.marker}, since {program.reason()}"
        for program in PROGRAMS
        if program.path() is None
    ]


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run what is marked ``both_stores`` on each kind of database, ``postgres`` on the one."""
    if "store" not in metafunc.fixturenames:
        return
    if metafunc.definition.get_closest_marker("both_stores"):
        metafunc.parametrize("store", STORES, indirect=True, scope="module")
    elif metafunc.definition.get_closest_marker("postgres"):
        metafunc.parametrize("store", ["postgresql"], indirect=True, scope="module")


# First, so that `-m broker` finds tests that only ask for the fixture.
@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the tests that use a program, and skip them where it is missing."""
    for program in PROGRAMS:
        missing = program.path() is None
        for item in items:
            if program.fixture in getattr(item, "fixturenames", ()):
                item.add_marker(program.marker)
            if missing and item.get_closest_marker(program.marker):
                item.add_marker(pytest.mark.skip(reason=program.reason()))


def pytest_collection_finish() -> None:
    """Search for garbage from now on, and only among what the tests make."""
    gc.freeze()
    gc.enable()
