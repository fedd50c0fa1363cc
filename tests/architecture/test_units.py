"""The units that ship are such that systemd takes them, and call what there is."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from drumkeep.cli.main import make_parser
from tests.fixtures.checkout import CHECKOUT

SERVICE = sorted((CHECKOUT / "deploy" / "service").glob("*.service"))
GATEWAY = CHECKOUT / "deploy" / "gateway" / "drumkeep-gateway.service"
COMMANDS = dict.fromkeys(SERVICE, "/usr/local/lib/drumkeep/bin/drumkeep") | {
    GATEWAY: "/usr/local/lib/drumkeep-gateway/bin/drumkeep-gateway"
}


def test_there_is_one_for_each_role_of_the_service():
    roles = [re.findall(r"--only (\w+)", unit.read_text()) for unit in SERVICE]
    assert sorted(roles) == [["ingest"], ["schedule"], ["web"]]


@pytest.mark.parametrize("unit", SERVICE, ids=lambda unit: unit.name)
def test_command_of_the_service_is_understood(unit: Path):
    (line,) = re.findall(r"^ExecStart=(.*)$", unit.read_text(), re.MULTILINE)
    command, *arguments = line.replace("%i", "8055").split()
    assert command == COMMANDS[unit]
    make_parser(arguments[0]).parse_args(arguments)


@pytest.mark.parametrize("unit", COMMANDS, ids=lambda unit: unit.name)
def test_systemd_has_nothing_to_say_about_it(unit: Path, tmp_path: Path):
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        pytest.skip("systemd is not installed")
    # Its program is not installed here, and that would be the one thing to say.
    command, text = COMMANDS[unit], unit.read_text()
    assert command in text
    copy = tmp_path / unit.name.replace("@", "@8055")
    copy.write_text(text.replace(f"ExecStart={command}", f"ExecStart={sys.executable}"))
    told = subprocess.run(
        [analyze, "verify", str(copy)], check=False, capture_output=True, text=True
    )

    assert [line for line in told.stderr.splitlines() if copy.name in line] == []
    assert told.returncode == 0, told.stderr
