"""The service as a process, an alarm of its own making, and a webhook that counts what it takes."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from tests.end_to_end.whole_service import API, PASSWORD, WholeService, z
from tests.fixtures.process import wait_until
from tests.fixtures.receivers import Receiver, receiver

PATIENCE_S = 60.0


class Service(WholeService):
    """A service with a van that is known to be cold, and a dispatcher who listens at a webhook."""

    def set_up(self, hook: str) -> None:
        self.sign_in()
        self.post("sites", {"code": "north", "name": "North", "timezone": "America/Chicago"})
        for code, kind in (("van", "vehicle"), ("room", "warm_room")):
            place = {"site": "north", "code": code, "name": f"The {code}", "kind": kind}
            self.post("places", place | ({"set_point_c": 27.0} if kind == "warm_room" else {}))
        self.make_iso()
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
        made.begin()
        made.set_up(hook.url)
        yield made
    finally:
        made.end()


@pytest.mark.slow
@pytest.mark.timeout(240)
def test_a_real_alarm_is_told_once_whatever_happens_to_receiver_and_service(
    service: Service, hook: Receiver
):
    # The receiver is down when the alarm comes, and is told when it is back.
    hook.down()
    tag = service.receive()
    refused: list[dict[str, Any]] = []

    def is_refused() -> bool:
        refused[:] = [n for n in service.notices() if n["state"] == "waiting" and n["tries"]]
        return bool(refused)

    wait_until(is_refused, "it is tried in vain")
    (waiting,) = refused
    assert waiting["to"] == "Dana"
    assert waiting["reason"] == "it refused the connection"
    hook.up()
    (told,) = hook.wait(1, within_s=PATIENCE_S)
    assert told.body.startswith("Bring 1 iso drum in from The van: the lowest liquid is under 50")
    assert str(told.notice_id).startswith(f"{waiting['id']}-")
    wait_until(lambda: service.states() == [("first", "sent")], "that is on record")

    # The drum is brought in and the service killed at once: that it is over is told after a start,
    # once, and nothing else is told again.
    moved = {"id": str(uuid4()), "kind": "moved", "at": z(service.now), "to": "north/room"}
    service.post(f"drums/{tag}/events", moved)
    service.kill()
    service.begin()
    first, over = hook.wait(2, within_s=PATIENCE_S)
    assert over.body.startswith("It is over since")
    assert first.notice_id != over.notice_id
    wait_until(
        lambda: service.states() == [("first", "sent"), ("over", "sent")], "both are on record"
    )
    assert len(hook.taken) == 2
    log = service.told()
    assert "s3cr3t-path" not in log
    assert waiting["id"] in log
