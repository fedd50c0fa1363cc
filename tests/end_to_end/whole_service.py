"""The whole service as a process, in which a manager has signed in and makes a site."""

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import httpx

from drumkeep.app import make_engine
from drumkeep.operations.accounts import create_account
from drumkeep.settings import Settings
from drumkeep.storage import schema
from drumkeep.storage.transaction import transaction
from tests.fixtures.ports import free_port
from tests.fixtures.process import Process, wait_until

API: Final = "/api/v1"
PASSWORD: Final = "seven green ladders"
DRUMKEEP: Final = (sys.executable, "-m", "drumkeep")


def z(moment: datetime) -> str:
    """Write a time as the API takes it."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def make_manager(folder: Path) -> None:
    """Make the database of a folder with an account for anna, who is a manager."""
    settings = Settings(data_dir=folder)
    settings.prepare()
    engine = make_engine(settings)
    schema.upgrade(engine)
    with transaction(engine) as tx:
        now = datetime.now(UTC)  # noqa: TID251 - the service reads it
        create_account(
            tx, name="anna", display_name="Anna", role="manager", password=PASSWORD, now=now
        )
    engine.dispose()


class WholeService(Process):
    """Web, ingest and schedule in one process, on a port that stays, with an account for anna.

    Attributes
    ----------
    now
        When it was made, to the second.
    client
        Reaches it; after :meth:`sign_in` as anna, who is a manager.
    """

    def __init__(self, folder: Path, *arguments: str) -> None:
        self.folder = folder
        self.now = datetime.now(UTC).replace(microsecond=0)  # noqa: TID251 - the service reads it
        port = free_port()
        self.client = httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=30)
        data = ("--data-dir", str(folder))
        super().__init__(
            [*DRUMKEEP, "serve", *data, "--port", str(port), *arguments], told=folder / "serve.log"
        )
        make_manager(folder)

    def begin(self) -> None:
        """Start it, and wait until it is ready."""
        self.start()
        wait_until(self._answers, "the service answers")

    def end(self) -> None:
        """End it at once, and its client."""
        self.kill()
        self.client.close()

    def post(self, noun: str, body: object) -> Any:
        """Have something made, and return the answer."""
        answer = self.client.post(f"{API}/{noun}", json=body)
        assert answer.is_success, answer.text
        return answer.json()

    def sign_in(self) -> None:
        """Sign in as anna."""
        session = self.post("session", {"name": "anna", "password": PASSWORD})
        self.client.headers["X-CSRF-Token"] = session["csrf"]

    def make_iso(self) -> None:
        """Make a product of the iso side, with a lot 2231 of three weeks ago."""
        self.post("products", {"code": "iso-1", "name": "Iso 1", "side": "iso"})
        made_on = (self.now - timedelta(days=20)).date().isoformat()
        self.post("lots", {"product": "iso-1", "code": "2231", "made_on": made_on})

    def _answers(self) -> bool:
        try:
            return self.client.get("/ready").status_code == 200
        except httpx.TransportError:
            return False
