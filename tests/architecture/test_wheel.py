"""A wheel brings what is not Python too: templates, static files, migrations."""

import subprocess
import sys
import zipfile

from tests.fixtures.checkout import CHECKOUT

NEEDED = ("service/drumkeep", "sensors/drumkeep_wire", "sensors/drumkeep_sensors")


def test_a_wheel_holds_every_file_of_the_packages(tmp_path):
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)],
        cwd=CHECKOUT,
        check=True,
        capture_output=True,
    )
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        held = set(archive.namelist())

    written = {
        str(path.relative_to((CHECKOUT / package).parent))
        for package in NEEDED
        for path in (CHECKOUT / package).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert written <= held
