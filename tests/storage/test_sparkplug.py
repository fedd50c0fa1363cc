"""What an edge node was heard to say is known to whoever reads its next message."""

from datetime import UTC, datetime

import pytest

from drumkeep.domain.grid import to_ms
from drumkeep.errors import Conflict, Invalid, NotFound
from drumkeep.operations import sparkplug_groups
from drumkeep.operations.readings import record_batch
from drumkeep.operations.sparkplug import (
    ASK_EVERY,
    Ask,
    SparkplugMessage,
    hear,
    hear_what_fits,
)
from drumkeep.operations.sparkplug_groups import create_group, delete_group
from drumkeep.operations.sparkplug_wire import decode
from drumkeep.storage import catalogue, rejects, strays
from drumkeep.storage import sparkplug as rows
from drumkeep.storage.tables.catalogue import Gateway
from drumkeep.storage.transaction import reading, transaction
from tests.builders.sparkplug import metric, payload
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]
pytestmark = pytest.mark.both_stores

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)
MS = to_ms(NOW)
NODE = "spBv1.0/Shed/{}/edge-1"
DEVICE = "spBv1.0/Shed/{}/edge-1/dryer"
NAME = f"{Shed.urn}:edge-1//Temp"
FLOAT = 9
POISON = {
    "sqlite": """CREATE TRIGGER poison BEFORE INSERT ON sparkplug_metric WHEN NEW.name = 'Poison'
        BEGIN SELECT RAISE(ABORT, 'unlucky'); END""",
    "postgresql": "ALTER TABLE sparkplug_metric ADD CONSTRAINT unlucky CHECK (name <> 'Poison')",
}


@pytest.fixture
def group(shed):
    with transaction(shed.engine) as tx:
        return create_group(tx, group="Shed", gateway="north/attic")


def birth(*, seq=0, session=1, alias=5, name="Temp", value=20.0):
    return payload(
        MS,
        metric("bdSeq", session, datatype=4, time_ms=MS),
        metric(name, value, datatype=FLOAT, time_ms=MS, alias=alias, engUnit="C"),
        seq=seq,
    )


def data(value, *, seq, alias=5, later_s=1):
    return payload(MS, metric(None, value, alias=alias, time_ms=MS + later_s * 1000), seq=seq)


def say(shed, *some, now=NOW, how=hear):
    """Hear messages, each a topic and octets, in one transaction, and record what they bring."""
    messages = [
        SparkplugMessage(topic, octets, len(octets), retained=False, received_at=now)
        for topic, octets in some
    ]
    with transaction(shed.engine) as tx:
        heard = how(tx, messages=messages, now=now)
        record_batch(tx, packs=heard.packs, now=now)
    return heard


def kept(shed):
    """Return the readings that are kept aside, by the names of their sensors."""
    with reading(shed.engine) as tx:
        return {
            row.name: [value for _, value in strays.readings_of(tx, stray_id=row.id)]
            for row in strays.list_strays(tx)
        }


def there(shed):
    with reading(shed.engine) as tx:
        gateway = catalogue.gateway_by_code(tx, site=Shed.site, code=Shed.gateway)
        assert gateway is not None
        return gateway.online


@pytest.mark.usefixtures("group")
def test_an_alias_is_known_in_a_later_transaction_and_its_reading_kept_aside(shed):
    say(shed, (NODE.format("NBIRTH"), birth()))
    heard = say(shed, (NODE.format("NDATA"), data(21.0, seq=1)))

    assert heard.asks == ()
    assert kept(shed) == {NAME: [20.0, 21.0]}


@pytest.mark.usefixtures("group")
def test_births_and_data_of_one_batch_are_read_in_their_order(shed):
    say(
        shed,
        (NODE.format("NBIRTH"), birth()),
        (NODE.format("NDATA"), data(21.0, seq=1)),
        (DEVICE.format("DBIRTH"), birth(seq=2, alias=6, value=30.0)),
        (DEVICE.format("DDATA"), data(31.0, seq=3, alias=6)),
        (NODE.format("NBIRTH"), birth(name="Other", value=1.0)),
        (NODE.format("NDATA"), data(2.0, seq=1)),
    )

    assert kept(shed) == {
        NAME: [20.0, 21.0],
        f"{Shed.urn}:edge-1/dryer/Temp": [30.0, 31.0],
        f"{Shed.urn}:edge-1//Other": [1.0, 2.0],
    }


@pytest.mark.usefixtures("group")
def test_an_unknown_alias_is_refused_and_the_birth_asked_for_at_most_once_a_minute(shed):
    first = say(shed, (NODE.format("NDATA"), data(21.0, seq=7)))
    soon = say(shed, (NODE.format("NDATA"), data(21.0, seq=8)), now=NOW + ASK_EVERY / 2)
    later = say(shed, (NODE.format("NDATA"), data(21.0, seq=9)), now=NOW + ASK_EVERY)

    assert first.asks == (Ask("Shed", "edge-1"),)
    assert (soon.asks, later.asks) == ((), first.asks)
    assert kept(shed) == {}
    with reading(shed.engine) as tx:
        (refused,) = rejects.list_rejects(tx)
    assert (refused.problem, refused.times) == ("was in no birth that is known", 3)


def test_a_group_that_may_not_be_asked_is_not_asked(shed):
    with transaction(shed.engine) as tx:
        create_group(tx, group="Shed", gateway="north/attic", asks=False)

    assert say(shed, (NODE.format("NDATA"), data(21.0, seq=7))).asks == ()


@pytest.mark.usefixtures("group")
def test_a_message_that_is_missing_has_the_births_asked_for_and_one_again_has_not(shed):
    say(shed, (NODE.format("NBIRTH"), birth()), (NODE.format("NDATA"), data(21.0, seq=1)))

    assert say(shed, (NODE.format("NDATA"), data(21.0, seq=1))).asks == ()
    assert say(shed, (NODE.format("NDATA"), data(22.0, seq=2, later_s=2))).asks == ()
    assert say(shed, (NODE.format("NDATA"), data(23.0, seq=4, later_s=4))).asks != ()
    assert kept(shed) == {NAME: [20.0, 21.0, 22.0, 23.0]}  # what is known is taken all the same


@pytest.mark.usefixtures("group")
def test_the_number_after_255_is_0(shed):
    say(shed, (NODE.format("NBIRTH"), birth()))
    number = [(NODE.format("NDATA"), data(1.0, seq=n % 256)) for n in range(1, 258)]

    assert say(shed, *number).asks == ()


@pytest.mark.usefixtures("group")
def test_a_gateway_is_there_from_a_birth_to_the_death_of_the_same_session(shed):
    def death(session):
        return payload(None, metric("bdSeq", session, datatype=4, time_ms=MS))

    say(shed, (NODE.format("NBIRTH"), birth(session=2)))
    assert there(shed)
    say(shed, (NODE.format("NDEATH"), death(1)))  # an older connection's
    assert there(shed)
    say(shed, ("spBv1.0/Shed/NBIRTH/edge-2", birth(session=9)), (NODE.format("NDEATH"), death(2)))
    assert there(shed)  # another of its edge nodes is
    say(shed, ("spBv1.0/Shed/NDEATH/edge-2", death(9)))
    assert not there(shed)


def test_an_edge_node_named_by_itself_is_read_for_its_own_gateway(shed):
    with transaction(shed.engine) as tx:
        site = catalogue.gateway_by_code(tx, site=Shed.site, code=Shed.gateway)
        assert site is not None
        catalogue.add(tx, Gateway(site_id=site.site_id, code="other", urn="urn:dev:os:32473-o"))
        create_group(tx, group="Shed", gateway="north/attic")
        create_group(tx, group="Shed", node="edge-2", gateway="north/other")
    say(shed, (NODE.format("NBIRTH"), birth()), ("spBv1.0/Shed/NBIRTH/edge-2", birth()))

    assert set(kept(shed)) == {NAME, "urn:dev:os:32473-o:edge-2//Temp"}


@pytest.mark.usefixtures("group")
def test_what_is_no_payload_of_no_group_or_no_message_for_us_stops_nothing(shed):
    say(
        shed,
        (NODE.format("NDATA"), b"\xff\xff"),
        ("spBv1.0/Other/NDATA/edge-1", birth()),
        (NODE.format("NCMD"), b"\xff"),
        (f"spBv1.0/Shed/DBIRTH/edge-1/{'x' * 121}", birth()),
        (f"spBv1.0/Shed/NBIRTH/{'x' * 121}", birth()),
        ("spBv1.0/STATE/host", b"{}"),
        (NODE.format("NBIRTH"), birth(alias=2**64 - 1)),
        (NODE.format("NDATA"), data(21.0, seq=1, alias=2**64 - 1)),
        how=hear_what_fits,
    )

    assert kept(shed) == {NAME: [20.0, 21.0]}
    with reading(shed.engine) as tx:
        problems = {row.problem for row in rejects.list_rejects(tx)}
    assert problems == {
        "is no Sparkplug B payload",
        "is of a group that is not read",
        "has too long a level",
    }


@pytest.mark.usefixtures("group")
def test_a_message_that_cannot_be_kept_is_refused_alone(shed):
    with transaction(shed.engine) as tx:
        tx.session.connection().exec_driver_sql(POISON[shed.engine.dialect.name])
    messages = [
        (NODE.format("NBIRTH"), birth()),
        (DEVICE.format("DBIRTH"), birth(seq=1, name="Poison")),
        (NODE.format("NDATA"), data(21.0, seq=2)),
    ]
    with pytest.raises(Conflict):
        say(shed, *messages)
    assert kept(shed) == {}

    say(shed, *messages, how=hear_what_fits)
    assert kept(shed) == {NAME: [20.0, 21.0]}
    with reading(shed.engine) as tx:
        (refused,) = rejects.list_rejects(tx)
    assert (refused.problem, refused.source) == ("could not be read", DEVICE.format("DBIRTH"))


@pytest.mark.usefixtures("group")
def test_metrics_and_edge_nodes_beyond_the_bounds_are_refused(shed, monkeypatch):
    monkeypatch.setattr("drumkeep.operations.sparkplug.MOST_KNOWN", 3)
    monkeypatch.setattr("drumkeep.operations.sparkplug.MOST_NODES", 1)
    say(shed, (NODE.format("NBIRTH"), birth()), (DEVICE.format("DBIRTH"), birth(seq=1)))
    say(shed, ("spBv1.0/Shed/NBIRTH/edge-2", birth()))

    with reading(shed.engine) as tx:
        problems = [row.problem for row in rejects.list_rejects(tx)]
        (group,) = rows.list_groups(tx)
        (node,) = rows.nodes_of(tx, group_ids=[group.row.id])
        assert rows.count_metrics(tx, node_id=node.id) == 2
    assert sorted(problems) == ["are too many to be known", "is one edge node too many"]


def test_a_group_is_made_listed_and_let_go_with_all_that_is_known_of_it(shed, group):
    say(shed, (NODE.format("NBIRTH"), birth()))
    with reading(shed.engine) as tx:
        assert sparkplug_groups.known_groups(tx) == (group,)
        assert "spBv1.0/Shed/NDATA/#" in group.messages
        assert not any("CMD" in topic for topic in group.messages)
    with transaction(shed.engine) as tx:
        delete_group(tx, group_id=group.id)
    with pytest.raises(NotFound), transaction(shed.engine) as tx:
        delete_group(tx, group_id=group.id)
    with reading(shed.engine) as tx:
        assert sparkplug_groups.known_groups(tx) == ()
        assert rows.nodes_of(tx, group_ids=[group.id]) == []
    assert kept(shed) == {NAME: [20.0]}


@pytest.mark.usefixtures("group")
def test_a_group_that_cannot_be_read_is_refused_by_field(shed):
    for wrong, kind, field in (
        ({}, Conflict, "group"),
        ({"group": "Barn"}, Conflict, "gateway"),
        ({"group": "a/b"}, Invalid, "group"),
        ({"group": ""}, Invalid, "group"),
        ({"group": " a"}, Invalid, "group"),
        ({"node": "+"}, Invalid, "node"),
        ({"gateway": "north/none"}, Invalid, "gateway"),
        ({"units": [("*", "rpm")]}, Invalid, "units"),
        ({"units": [("", "C")]}, Invalid, "units"),
    ):
        asked = {"group": "Shed", "gateway": "north/attic"} | wrong
        with pytest.raises(kind) as refused, transaction(shed.engine) as tx:
            create_group(tx, **asked)
        assert [fault.field for fault in refused.value.faults] == [field], wrong


def test_the_builders_payloads_are_read(shed):  # noqa: ARG001 - runs on both stores
    read = decode(birth(seq=3))

    assert (read.time_ms, read.seq) == (MS, 3)
    assert [one.name for one in read.metrics] == ["bdSeq", "Temp"]
    assert read.metrics[1].properties == {"engUnit": "C"}
