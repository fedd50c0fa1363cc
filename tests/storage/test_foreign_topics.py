"""Messages of other devices' topics become packs on the account of their mapping's gateway."""

from datetime import UTC, datetime

import pytest

from drumkeep.domain.readings import GatewayKey
from drumkeep.ingest.backlog import LONGEST_PAYLOAD, Arrived
from drumkeep.ingest.foreign import ForeignTopics
from drumkeep.operations.foreign import ForeignMap
from drumkeep.operations.foreign_mappings import create_mapping
from drumkeep.storage.transaction import transaction
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]
pytestmark = pytest.mark.both_stores

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)


@pytest.fixture
def topics(shed):
    with transaction(shed.engine) as tx:
        for code, member, unit in (("warm", "t", "'C'"), ("damp", "rh", "'%RH'")):
            mapping = ForeignMap(
                topic="sensors/+",
                name=f"join(':', [topic[1], '{code}'])",
                value=f"item.{member}",
                unit=unit,
            )
            create_mapping(
                tx, code=code, gateway="north/attic", mapping=mapping, root="drumkeep/v1"
            )
    found = ForeignTopics(shed.engine)
    found.look()
    assert found.known
    return found


def arrived(payload, *, topic="sensors/loft", retained=False, size=None):
    return Arrived(topic, payload, size or len(payload), retained, NOW, 1, 1, 1)


def test_each_mapping_of_a_topic_reads_its_part(topics):
    packs = topics.read(arrived(b'{"t": 21.5, "rh": 40}'))

    assert topics.filters == {"sensors/+"}
    assert {pack.gateway for pack in packs} == {GatewayKey(Shed.site, Shed.gateway)}
    assert [
        (one.sensor_name, one.quantity, one.value) for pack in packs for one in pack.readings
    ] == [("loft:damp", "humidity", 40), ("loft:warm", "temperature", 21.5)]


def test_topics_of_no_mapping_are_left_to_others(topics):
    assert topics.read(arrived(b"[]", topic="drumkeep/v1/north/attic/readings")) is None
    assert topics.read(arrived(b"{}", topic="sensors/loft/more")) is None


@pytest.mark.parametrize(
    ("given", "problem"),
    [
        ({"retained": True}, "was retained and says no time, so nobody knows when it was"),
        ({"size": LONGEST_PAYLOAD + 1}, "is too long"),
    ],
)
def test_what_cannot_be_dated_or_is_too_long_is_refused_with_its_reason(topics, given, problem):
    packs = topics.read(arrived(b'{"t": 21.5, "rh": 40}', **given))

    assert [pack.readings for pack in packs] == [(), ()]
    assert {told.problem for pack in packs for told in pack.rejections} == {problem}


def test_a_mapping_made_later_is_found_when_it_is_looked_for_again(shed, monkeypatch):
    found = ForeignTopics(shed.engine)
    found.look()
    assert found.filters == frozenset()
    with transaction(shed.engine) as tx:
        mapping = ForeignMap(topic="a/b", name="'a'", value="item", unit="'C'")
        create_mapping(tx, code="a", gateway="north/attic", mapping=mapping, root="drumkeep/v1")

    found.look()
    assert found.filters == frozenset()  # not due yet
    monkeypatch.setattr("drumkeep.ingest.foreign.LOOK_EVERY_S", 0.0)
    found.look()
    assert found.filters == {"a/b"}
