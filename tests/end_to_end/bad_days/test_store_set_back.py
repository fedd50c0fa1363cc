"""The service's database is put back as it was: a restored backup, a replica that was behind.

What gateways had confirmed by then is gone at both ends; nothing else may be, and it goes on.
"""

import shutil
from pathlib import Path
from typing import Final

import pytest

from tests.fixtures.broker import Mosquitto
from tests.fixtures.company import company
from tests.fixtures.process import wait_until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(180)]

FORGOTTEN: Final = 20
"""Readings that were confirmed after the backup."""


def test_gateways_go_on_and_send_again_all_that_they_still_have(
    tmp_path: Path, mosquitto: Mosquitto
):
    kept = tmp_path / "kept"
    kept.mkdir()
    url = f"sqlite:///{kept}/drumkeep.db"
    with company(tmp_path, url=url, door=mosquitto, sites=["north"]) as everyone:
        gateway, service = everyone.gateways["north"], everyone.service
        everyone.start()
        service.kill()
        shutil.copytree(kept, tmp_path / "backup")

        before = everyone.stored("north")
        service.start()
        wait_until(
            lambda: len(gateway.notes.of("confirmed")) > before + FORGOTTEN, "some is confirmed"
        )
        service.kill()
        taken = set(gateway.notes.of())  # whatever is confirmed by the old store is among these
        shutil.rmtree(kept)
        shutil.copytree(tmp_path / "backup", kept)
        service.start()

        found = everyone.settle()
        assert (found.twice, found.unheard_of) == ([], [])
        assert found.missing
        assert set(found.missing) <= taken, str(found)
        assert "it was set back" in gateway.told()
