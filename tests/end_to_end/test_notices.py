"""The service as a process, an alarm of its own making, and a webhook that counts what it takes."""

import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import httpx
import pytest

from tests.fixtures.ports import free_port
from tests.fixtures.receivers import Receiver, receiver

PASSWORD = "seven green ladders"
DRUMKEEP = [sys.executable, "-m", "drumkeep"]
API = "/api/v1"
PATIENCE_S = 40.0


def z(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


class Service:
    """A service with a van that is known to be cold, and a dispatcher who listens at a webhook."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.now = datetime.now(UTC).replace(microsecond=0)  # noqa: TID251 - the service reads it
        self.port = free_port()
        self.client = httpx.Client(base_url=f"http://127.0.0.1:{self.port}", timeout=30)
        self.process: subprocess.Popen[bytes] | None = None
        subprocess.run(
            [*DRUMKEEP, "account", "create", "anna", "--data-dir", str(folder), "--password-stdin"],
            input=PASSWORD.encode(),
            check=True,
        )

    def start(self) -> None:
        where = ["--data-dir", str(self.folder), "--port", str(self.port)]
        with (self.folder / "serve.log").open("ab") as log:
            self.process = subprocess.Popen([*DRUMKEEP, "serve", *where], stderr=log)
        self.wait_until(self._answers, "the service answers")

    def kill(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait(30)
            self.process = None

    def _answers(self) -> bool:
        try:
            return self.client.get("/ready").status_code == 200
        except httpx.TransportError:
            return False

    def wait_until(self, met: Callable[[], object], what: str) -> None:
        deadline = time.monotonic() + PATIENCE_S
        while not met():
            assert time.monotonic() < deadline, f"it never came that {what}"
            time.sleep(0.1)

    def post(self, noun: str, body: object) -> Any:
        answer = self.client.post(f"{API}/{noun}", json=body)
        assert answer.is_success, answer.text
        return answer.json()

    def set_up(self, hook: str) -> None:
        session = self.post("session", {"name": "anna", "password": PASSWORD})
        self.client.headers["X-CSRF-Token"] = session["csrf"]
        self.post("sites", {"code": "north", "name": "North", "timezone": "America/Chicago"})
        for code, kind in (("van", "vehicle"), ("room", "warm_room")):
            place = {"site": "north", "code": code, "name": f"The {code}", "kind": kind}
            self.post("places", place | ({"set_point_c": 27.0} if kind == "warm_room" else {}))
        self.post("products", {"code": "iso-1", "name": "Iso 1", "side": "iso"})
        made_on = (self.now - timedelta(days=20)).date().isoformat()
        self.post("lots", {"product": "iso-1", "code": "2231", "made_on": made_on})
        dana = {"name": "dana", "display_name": "Dana", "role": "dispatcher"}
        self.post("accounts", dana | {"password": PASSWORD})
        self.post("accounts/dana/notice-addresses", {"url": hook})
        since = z(self.now - timedelta(days=10))
        for code, c in (("van", 8.0), ("room", 27.0)):
            mount = {"what": "air", "place": f"north/{code}", "since": since}
            name = f"urn:dev:os:32473-{code}:temp"
            sensor = {"name": name, "quantity": "temperature", "interval_s": 900}
            self.post("sensors", sensor | {"mount": mount})
            self.read(name, c)

    def read(self, name: str, c: float) -> None:
        end = int(self.now.timestamp())
        pack = [{"n": name, "u": "Cel", "t": end - 900 * i, "v": c} for i in range(24, -1, -1)]
        answer = self.client.post(
            f"{API}/readings", json=pack, headers={"Content-Type": "application/senml+json"}
        )
        assert answer.is_success, answer.text

    def receive(self) -> str:
        drum = {"id": str(uuid4()), "product": "iso-1", "lot": "2231", "place": "north/van"}
        cold = {"at": z(self.now - timedelta(hours=1)), "liquid_c": 8.0}
        tag: str = self.post("drums", drum | cold)["tag"]
        return tag

    def notices(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.client.get(f"{API}/notices").json()["items"]
        return found

    def states(self) -> list[tuple[str, str]]:
        return [(notice["occasion"], notice["state"]) for notice in reversed(self.notices())]


@pytest.fixture
def hook() -> Iterator[Receiver]:
    with receiver() as there:
        yield there


@pytest.fixture
def service(tmp_path: Path, hook: Receiver) -> Iterator[Service]:
    made = Service(tmp_path)
    try:
        made.start()
        made.set_up(hook.url)
        yield made
    finally:
        made.kill()
        made.client.close()


@pytest.mark.slow
@pytest.mark.timeout(120)
def test_a_real_alarm_is_told_once_whatever_happens_to_receiver_and_service(
    service: Service, hook: Receiver
):
    # The receiver is down when the alarm comes, and is told when it is back.
    hook.down()
    tag = service.receive()
    service.wait_until(lambda: any(n["tries"] for n in service.notices()), "it is tried in vain")
    (waiting,) = service.notices()
    assert (waiting["state"], waiting["to"]) == ("waiting", "Dana")
    assert waiting["reason"] == "it refused the connection"
    hook.up()
    (told,) = hook.wait(1, within_s=PATIENCE_S)
    assert told.body.startswith("Bring 1 iso drum in from The van: the lowest liquid is under 50")
    assert told.notice_id == waiting["id"]
    service.wait_until(lambda: service.states() == [("first", "sent")], "that is on record")

    # The drum is brought in and the service killed at once: that it is over is told after a start,
    # once, and nothing else is told again.
    moved = {"id": str(uuid4()), "kind": "moved", "at": z(service.now), "to": "north/room"}
    service.post(f"drums/{tag}/events", moved)
    service.kill()
    service.start()
    first, over = hook.wait(2, within_s=PATIENCE_S)
    assert over.body.startswith("It is over since")
    assert first.notice_id != over.notice_id
    service.wait_until(
        lambda: service.states() == [("first", "sent"), ("over", "sent")], "both are on record"
    )
    assert len(hook.taken) == 2
    log = (service.folder / "serve.log").read_text()
    assert "s3cr3t-path" not in log
    assert waiting["id"] in log
