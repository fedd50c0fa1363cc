"""Every message that was ever sent: written so by who sends it, understood by who reads it.

The files are never changed. A new form of a message gets a file of its own beside the old one,
which must be read for as long as any gateway may send it. They were written by hand from the
contract (topics and messages of README.md, SenML of RFC 8428); none was printed by the code.
"""

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from drumkeep.domain.readings import ArrivedPack, GatewayKey, Reading, SpoolNumber
from drumkeep.domain.sensors import Quantity
from drumkeep.ingest.backlog import Arrived
from drumkeep.ingest.presence import PresenceChange
from drumkeep.ingest.translate import translate
from drumkeep.operations.alarm_notices import alarms_to_publish
from drumkeep.storage import schema
from drumkeep.storage.engine import create
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.catalogue import Site
from drumkeep.storage.transaction import transaction
from drumkeep_wire.committed import Committed, decode_committed, encode_committed
from drumkeep_wire.presence import Presence, decode_presence, encode_presence
from drumkeep_wire.records import Record, Spool
from drumkeep_wire.senml import encode_pack
from drumkeep_wire.topics import Topics

GOLDEN = Path(__file__).parent / "golden"
TEMP = "urn:dev:ow:10e2073a01080063:temp"
DAMP = "urn:dev:ow:10e2073a01080063:damp"
T0 = 1_770_000_000.0
ARRIVED_AT = datetime.fromtimestamp(T0 + 400, tz=UTC)
RECORDS = (
    Record(TEMP, "Cel", -7.25, T0),
    Record(TEMP, "Cel", -7.5, T0 + 300, index=1),
    Record(DAMP, "%RH", 81.5, T0 + 300, index=2),
)
VALUES = [
    (TEMP, Quantity.TEMPERATURE, 1_770_000_000_000, -7.25),
    (TEMP, Quantity.TEMPERATURE, 1_770_000_300_000, -7.5),
    (DAMP, Quantity.HUMIDITY, 1_770_000_300_000, 81.5),
]
SPOOL = Spool("urn:dev:os:32473-attic", "0a1b2c3d", 7)
PRESENCES = {
    "v1-presence-online": Presence("online", T0),
    "v1-presence-offline": Presence("offline", T0 + 3600),
    "v1-presence-last-will": Presence("offline"),
    "v1-presence-last-will-short": Presence("offline"),
}


def golden(name: str) -> bytes:
    return (GOLDEN / f"{name}.json").read_bytes().rstrip(b"\n")


def arrived(kind: str, payload: bytes) -> ArrivedPack | PresenceChange:
    """Return what the service makes of a message on a gateway's topic."""
    message = Arrived(
        topic=f"drumkeep/v1/north/attic/{kind}",
        payload=payload,
        size=len(payload),
        retained=kind == "presence",
        received_at=ARRIVED_AT,
        mid=1,
        qos=1,
        epoch=1,
    )
    return translate(message, topics=Topics())


def with_what_may_come(payload: bytes) -> bytes:
    """Add a field that no version knows yet to each object: it must be passed over."""
    found: Any = json.loads(payload)
    for entry in found if isinstance(found, list) else [found]:
        entry["later"] = {"a": [1]}
    return json.dumps(found).encode()


def test_gateway_writes_its_readings_so():
    assert json.loads(encode_pack(RECORDS, spool=SPOOL)) == json.loads(golden("v1-readings"))


@pytest.mark.parametrize("come", [bytes, with_what_may_come])
@pytest.mark.parametrize("name", ["v1-readings", "v1-readings-with-bases"])
def test_service_reads_readings(name, come):
    pack = arrived("readings", come(golden(name)))
    assert isinstance(pack, ArrivedPack)
    assert pack.rejections == ()
    assert [(r.sensor_name, r.quantity, r.ts_ms, r.value) for r in pack.readings] == VALUES
    assert all(isinstance(reading, Reading) for reading in pack.readings)
    assert pack.gateway == GatewayKey("north", "attic")
    numbered = SpoolNumber("urn:dev:os:32473-attic", "0a1b2c3d", 7)
    assert pack.spool == (numbered if name == "v1-readings" else None)


@pytest.mark.parametrize("name", [n for n in PRESENCES if not n.endswith("short")])
def test_gateway_writes_its_presence_so(name):
    assert json.loads(encode_presence(PRESENCES[name])) == json.loads(golden(name))


@pytest.mark.parametrize("come", [bytes, with_what_may_come])
@pytest.mark.parametrize("name", PRESENCES)
def test_service_reads_presence(name, come):
    assert decode_presence(come(golden(name))) == PRESENCES[name]
    change = arrived("presence", come(golden(name)))
    assert isinstance(change, PresenceChange)
    assert change.gateway == GatewayKey("north", "attic")


def test_service_writes_so_what_it_has_stored():
    told = json.loads(encode_committed(Committed("0a1b2c3d", 7)))
    assert told == json.loads(golden("v1-committed"))


@pytest.mark.parametrize("come", [bytes, with_what_may_come])
def test_gateway_reads_what_is_stored(come):
    assert decode_committed(come(golden("v1-committed"))) == Committed("0a1b2c3d", 7)


def test_both_sides_say_the_same_topics():
    topics = Topics()
    told = json.loads(golden("v1-topics"))
    for kind in ("readings", "presence", "committed"):
        assert getattr(topics, kind)(site="north", gateway="attic") == told[kind]
        address = topics.parse(told[kind])
        assert (address.site, address.gateway, address.kind) == ("north", "attic", kind)
    alarm = json.loads(golden("v1-alarm"))["id"]
    assert topics.alarm(site="north", alarm_id=alarm) == told["alarm"]


def test_service_writes_an_alarm_so(tmp_path):
    engine = create(f"sqlite:///{tmp_path / 'alarm.db'}")
    schema.upgrade(engine)
    began = datetime(2026, 2, 5, 7, tzinfo=UTC)
    with transaction(engine) as tx:
        site = Site(code="north", name="North", timezone="America/Chicago")
        tx.session.add(site)
        tx.session.flush()
        tx.session.add(
            Alarm(
                id="7f1e0c9a3b524b7e9c1d2a6f5e8d4b10",
                kind="cold_load",
                cause="north/van",
                site_id=site.id or 0,
                state="unacknowledged",
                priority="high",
                audience=["dispatcher"],
                message="Bring 2 iso drums in from Van before {w:2026-02-05T02:40:00-06:00}: "
                "the lowest liquid reaches {t:10.00}.",
                drums=["K7Q-X4M", "M2T-9RA"],
                deadline=datetime(2026, 2, 5, 8, 40, tzinfo=UTC),
                raised_at=began,
                changed_at=began,
            )
        )
        ((notice, changed_at),) = alarms_to_publish(tx)
    engine.dispose()
    assert (notice.site, notice.over, changed_at) == ("north", False, began)
    assert notice.body == json.loads(golden("v1-alarm"))


def test_no_golden_file_lies_unread():
    source = Path(__file__).read_text("utf-8")
    for path in GOLDEN.iterdir():
        assert path.suffix == ".json"
        assert f'"{path.stem}"' in source, path.name
