"""One cold night through the real thing: Mosquitto, the service as a process, mosquitto_pub."""

import json
import shutil
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from paho.mqtt.client import Client, MQTTMessage, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from drumkeep.domain.grid import moment_of
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.storage.drums import list_drums
from drumkeep.storage.engine import create
from drumkeep.storage.transaction import reading
from tests.end_to_end.whole_service import API, WholeService, z
from tests.fixtures.broker import Mosquitto
from tests.fixtures.depot import check_same, recomputed
from tests.fixtures.process import wait_until

URN = "urn:dev:os:32473-gate"
VAN, SHED = "urn:dev:os:32473-van:temp", "urn:dev:os:32473-shed:temp"
KILLS = 3
READINGS = 1000


class Night(WholeService):
    """A service with a shed and a van, four drums in each, received at 24 °C fifteen hours ago."""

    def __init__(self, *, folder: Path, broker: Mosquitto) -> None:
        super().__init__(folder, "--mqtt-url", f"mqtt://{broker.host}:{broker.port}")
        self.broker = broker

    def set_up(self) -> None:
        self.sign_in()
        self.post("sites", {"code": "north", "name": "North", "timezone": "America/New_York"})
        for code, kind in (("shed", "warehouse"), ("van", "vehicle")):
            self.post("places", {"site": "north", "code": code, "name": code, "kind": kind})
        self.make_iso()
        self.post("gateways", {"site": "north", "code": "gate", "urn": URN})
        since = z(self.now - timedelta(days=10))
        for name, place in ((VAN, "north/van"), (SHED, "north/shed")):
            mount = {"what": "air", "place": place, "since": since}
            sensor = {"name": name, "quantity": "temperature", "interval_s": 300, "mount": mount}
            self.post("sensors", sensor | {"gateway": "north/gate"})
        self.post(
            "drums",
            [
                {
                    "id": str(uuid4()),
                    "product": "iso-1",
                    "lot": "2231",
                    "place": place,
                    "at": z(self.now - timedelta(hours=15)),
                    "liquid_c": 24.0,
                }
                for place in ("north/shed", "north/van")
                for _ in range(4)
            ],
        )

    def drums(self, place: str) -> dict[str, Any]:
        answer = self.client.get(f"{API}/drums", params={"place": place}).json()
        return {drum["tag"]: drum for drum in answer["items"]}

    def bases(self, place: str) -> set[str]:
        return {drum["estimate"]["basis"] for drum in self.drums(place).values()}

    def bottoms(self, place: str) -> list[float]:
        return [drum["estimate"]["bottom_c"] for drum in self.drums(place).values()]

    def publish(self, name: str, *, celsius: float, hours: int, spool: int) -> None:
        """Send a pack with mosquitto_pub, timed from so many hours ago until now."""
        end = int(self.now.timestamp())
        ages = range(-hours * 3600, 1, 300)
        pack: list[dict[str, Any]] = [
            {"n": name, "u": "Cel", "t": end + t, "v": celsius} for t in ages
        ]
        pack.append({"n": f"{URN}:spool:0badcafe", "u": "count", "v": spool})
        program = shutil.which("mosquitto_pub")
        if program is None:
            pytest.skip("mosquitto_pub is not installed (Debian's mosquitto-clients)")
        where = ["-h", self.broker.host, "-p", str(self.broker.port), "-V", "mqttv5"]
        subprocess.run(
            [program, *where, "-q", "1", "-t", "drumkeep/v1/north/gate/readings", "-s"],
            input=json.dumps(pack).encode(),
            check=True,
        )

    def retained(self, topic: str) -> list[dict[str, Any]]:
        """Return what a client that connects now is given on a topic."""
        got: list[dict[str, Any]] = []
        client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)

        def on_message(_client: Client, _data: object, message: MQTTMessage) -> None:
            got.append(json.loads(message.payload))

        client.on_message = on_message
        client.connect(self.broker.host, self.broker.port)
        client.subscribe(topic, qos=1)
        client.loop_start()
        time.sleep(1.0)
        client.disconnect()
        client.loop_stop()
        return got


@pytest.fixture
def night(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[Night]:
    folder = tmp_path / "service"
    folder.mkdir()
    made = Night(folder=folder, broker=mosquitto)
    try:
        made.begin()
        made.set_up()
        yield made
    finally:
        made.end()


@pytest.mark.slow
def test_a_night_that_arrives_late_cools_the_drums_of_its_place_and_no_others(night: Night):
    night.publish(SHED, celsius=20.0, hours=40, spool=1)
    wait_until(
        lambda: all(
            d["estimate"]["basis"] == "modelled" for d in night.drums("north/shed").values()
        ),
        "the shed's drums are computed from its air",
    )
    shed, van = night.bottoms("north/shed"), night.bottoms("north/van")

    begun = time.monotonic()
    night.publish(VAN, celsius=-7.0, hours=14, spool=2)
    wait_until(
        lambda: max(night.bottoms("north/van")) <= min(van) - 5.0, "the van's drums are cold"
    )

    assert time.monotonic() - begun < 60.0
    drums = night.drums("north/van").values()
    assert {d["estimate"]["supported_to"] for d in drums} == {z(night.now)}
    assert all("solids_suspected" in d["conditions"] for d in drums)
    assert all(d["readiness"]["state"] == "on_hold" for d in drums)
    assert night.bottoms("north/shed") == pytest.approx(shed, abs=0.2)

    def cold_loads() -> list[dict[str, Any]]:
        found = night.client.get(f"{API}/alarms", params={"state": "open"}).json()["items"]
        return [alarm for alarm in found if alarm["kind"] == "cold_load"]

    wait_until(lambda: bool(cold_loads()), "the cold load raises an alarm")
    (alarm,) = cold_loads()
    assert sorted(alarm["drums"]) == sorted(night.drums("north/van"))
    assert alarm["audience"] == ["dispatcher"]
    committed = [{"spool": "0badcafe", "upto": 2}]
    wait_until(
        lambda: night.retained("drumkeep/v1/north/gate/committed") == committed,
        "both packs are confirmed",
    )
    wait_until(
        lambda: alarm["id"] in {a["id"] for a in night.retained("drumkeep/v1/north/alarms/+")},
        "the alarm is told at the broker",
    )


@pytest.mark.slow
def test_the_whole_service_killed_again_and_again_loses_no_reading_and_computes_on(night: Night):
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)
    client.connect(night.broker.host, night.broker.port)
    client.loop_start()
    start = int(night.now.timestamp()) - READINGS * 30
    for i in range(READINGS):
        record = [{"n": VAN, "u": "Cel", "t": start + 30 * i, "v": -7.0}]
        client.publish("drumkeep/v1/north/gate/readings", json.dumps(record), qos=1)
        if i % (READINGS // KILLS) == READINGS // KILLS // 2:
            night.kill()
            night.begin()
    client.publish("drumkeep/v1/north/gate/readings", b"[]", qos=1).wait_for_publish(60)
    client.disconnect()
    client.loop_stop()

    def points() -> int:
        (van, *_) = night.drums("north/van").values()
        return int(van["estimate"]["supported_to"] == z(night.now - timedelta(seconds=30)))

    wait_until(lambda: points() == 1, "the last reading counts")
    wait_until(lambda: max(night.bottoms("north/van")) < 10.0, "the drums are computed anew")
    assert count(night.folder, "reading") == READINGS
    wait_until(
        lambda: count(night.folder, "place_mark WHERE from_ms IS NOT NULL") == 0,
        "all of them are computed",
    )
    night.kill()
    check_against_recomputation(night.folder)


def count(folder: Path, what: str) -> int:
    """Count rows of a table, without drumkeep."""
    with closing(sqlite3.connect(folder / "drumkeep.db")) as connection:
        return int(connection.execute(f"SELECT count(*) FROM {what}").fetchone()[0])  # noqa: S608


def check_against_recomputation(folder: Path) -> None:
    """Check that what the killed service left of every drum equals its whole past anew."""
    engine = create(f"sqlite:///{folder / 'drumkeep.db'}")
    with reading(engine) as tx:
        stock = list_drums(tx)
    for row in stock:
        assert row.estimate is not None
        anew = recomputed(engine, now=moment_of(row.estimate.step))
        check_same(states_from_bytes([row.estimate.state]), anew[row.drum.tag])
    engine.dispose()
