"""The unit of a gateway is one that systemd takes."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.fixtures.checkout import CHECKOUT

UNIT = CHECKOUT / "deploy" / "gateway" / "drumkeep-gateway.service"


def test_systemd_has_nothing_to_say_about_the_unit(tmp_path: Path):
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        pytest.skip("systemd is not installed")
    # Its program is not installed here, and that would be the one thing to say.
    command = "/usr/local/lib/drumkeep-gateway/bin/drumkeep-gateway"
    text = UNIT.read_text()
    assert command in text
    unit = tmp_path / UNIT.name
    unit.write_text(text.replace(f"ExecStart={command}", f"ExecStart={sys.executable}"))
    told = subprocess.run(
        [analyze, "verify", str(unit)], check=False, capture_output=True, text=True
    )

    assert [line for line in told.stderr.splitlines() if UNIT.name in line] == []
    assert told.returncode == 0, told.stderr
