"""The import contracts of pyproject.toml hold, and each breaks when it should."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.fixtures.checkout import CHECKOUT, pyproject


def lint_imports(
    checkout: Path, *, contract: str | None = None
) -> subprocess.CompletedProcess[str]:
    command = [str(Path(sys.executable).with_name("lint-imports")), "--no-logo", "--no-cache"]
    if contract is not None:
        command += ["--contract", contract]
    packages = [str(checkout / "service"), str(checkout / "sensors")]
    return subprocess.run(
        command,
        cwd=checkout,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(packages)},
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_contracts_hold():
    done = lint_imports(CHECKOUT)

    assert done.returncode == 0, done.stdout + done.stderr


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    shutil.copy(CHECKOUT / "pyproject.toml", tmp_path)
    leave = shutil.ignore_patterns("__pycache__")
    for folder in ("service", "sensors"):
        shutil.copytree(CHECKOUT / folder, tmp_path / folder, ignore=leave)
    return tmp_path


FAULTS = {
    "physics that asks the rules": ("layers", "thermal", "import drumkeep.domain"),
    "rules that ask the database": ("layers", "domain", "import drumkeep.storage"),
    "storage that acts": ("layers", "storage", "import drumkeep.operations"),
    "the API that shows pages": ("layers", "api", "import drumkeep.web"),
    "ingest that schedules": ("layers", "ingest", "import drumkeep.scheduler"),
    "a folder that nobody placed": ("layers", "oddments", ""),
    "rules that validate with a framework": ("pure", "domain", "import pydantic"),
    "physics that reads the wire": ("pure", "thermal", "import drumkeep_wire"),
    "rules that open a file": ("pure", "domain", "import os"),
    "a query outside storage": ("sql", "operations", "import sqlalchemy"),
    "an operation that sends by itself": ("notices", "operations", "import apprise"),
    "a page that speaks MQTT": ("mqtt", "web", "import paho.mqtt.client"),
    "an operation that reads the wire": ("wire", "operations", "import drumkeep_wire"),
    "an operation that knows the web": ("no-web-below", "operations", "import fastapi"),
    "a demo that reaches inside": ("outside", "demo", "import drumkeep.storage"),
    "a service that imports the gateway": ("apart", "ingest", "import drumkeep_sensors"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_planted_fault_breaks_its_contract(copy, fault):
    contract, layer, line = FAULTS[fault]
    folder = copy / "service" / "drumkeep" / layer
    folder.mkdir(exist_ok=True)
    (folder / "__init__.py").touch()
    (folder / "planted.py").write_text(line + "\n")

    done = lint_imports(copy, contract=contract)

    assert done.returncode == 1, done.stdout + done.stderr
    assert layer in done.stdout


@pytest.mark.parametrize(
    ("contract", "package", "line"),
    [
        ("wire-alone", "drumkeep_wire", "import paho"),
        ("gateway-light", "drumkeep_sensors", "import numpy"),
        ("apart", "drumkeep_sensors", "import drumkeep.errors"),
    ],
)
def test_a_fault_planted_on_the_gateway_side_breaks_its_contract(copy, contract, package, line):
    (copy / "sensors" / package / "planted.py").write_text(line + "\n")

    done = lint_imports(copy, contract=contract)

    assert done.returncode == 1, done.stdout + done.stderr
    assert f"{package}.planted" in done.stdout


def test_a_knot_between_two_modules_breaks_its_contract(copy):
    domain = copy / "service" / "drumkeep" / "domain"
    (domain / "first.py").write_text("import drumkeep.domain.second\n")
    (domain / "second.py").write_text("import drumkeep.domain.first\n")

    done = lint_imports(copy, contract="no-knots")

    assert done.returncode == 1, done.stdout + done.stderr
    assert "first" in done.stdout


def test_every_contract_has_a_planted_fault():
    planted = {contract for contract, _, _ in FAULTS.values()}
    planted |= {"wire-alone", "gateway-light", "no-knots"}

    assert planted == {
        contract["id"] for contract in pyproject()["tool"]["importlinter"]["contracts"]
    }
