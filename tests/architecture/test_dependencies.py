"""What is declared, what is pinned and what the contracts forbid agree with one another."""

import re
from importlib.metadata import packages_distributions
from typing import Any

import pytest

from tests.fixtures.checkout import CHECKOUT, pyproject

CONSTRAINTS = (CHECKOUT / "deploy" / "constraints.txt").read_text().splitlines()
PIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*==[A-Za-z0-9.+!]+")
# Beside its own, a distribution may bring a folder that nobody imports.
NOT_IMPORTED = {"typings"}
# Never declared, since no resolver may see its dependencies; imported by nobody all the same.
WITHOUT_DEPENDENCIES = {"pvlib"}


def normalised(name: str) -> str:
    """Return a distribution's name as PEP 503 compares it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def names(requirements: list[str]) -> set[str]:
    found = (re.match(r"[A-Za-z0-9._-]+", requirement) for requirement in requirements)
    return {normalised(match[0]) for match in found if match}


def runtime() -> set[str]:
    project = pyproject()["project"]
    extras = project["optional-dependencies"]
    listed = [*project["dependencies"], *extras["service"], *extras["gateway"], *extras["demo"]]
    return names(listed) | WITHOUT_DEPENDENCIES


def imported(distributions: set[str]) -> set[str]:
    """Return the import names that the distributions bring."""
    return {
        package
        for package, brought_by in packages_distributions().items()
        if package not in NOT_IMPORTED and distributions & {normalised(name) for name in brought_by}
    }


def contract(identity: str) -> dict[str, Any]:
    contracts = pyproject()["tool"]["importlinter"]["contracts"]
    (found,) = (each for each in contracts if each["id"] == identity)
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize(
    ("identity", "allowed"),
    [
        ("pure", {"biip", "numba", "numpy"}),
        ("wire-alone", {"msgspec"}),
        ("gateway-light", {"msgspec", "paho", "pymodbus", "serial"}),
    ],
)
def test_a_closed_package_is_forbidden_every_other_dependency(identity, allowed):
    forbidden = set(contract(identity)["forbidden_modules"])

    assert imported(runtime()) - allowed <= forbidden
    assert not forbidden & allowed


def test_each_dependency_is_found_under_some_import_name():
    found = {
        normalised(name) for brought_by in packages_distributions().values() for name in brought_by
    }

    assert runtime() <= found


def test_constraints_are_pins_and_comments_and_nothing_else():
    odd = [line for line in CONSTRAINTS if not (line.startswith("#") or PIN.fullmatch(line))]

    assert odd == []
    assert not any("://" in line for line in CONSTRAINTS)


def test_every_declared_dependency_is_pinned():
    project = pyproject()["project"]
    extras = project["optional-dependencies"].values()
    declared = names([*project["dependencies"], *(name for extra in extras for name in extra)])
    pinned = names([line for line in CONSTRAINTS if not line.startswith("#")])

    assert declared | WITHOUT_DEPENDENCIES <= pinned
