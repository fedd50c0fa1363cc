"""What sensors that nobody registered send is kept, bounded, and theirs once they are."""

from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.domain.grid import to_ms
from drumkeep.domain.readings import ArrivedPack, GatewayKey, Reading
from drumkeep.domain.sensors import Quantity
from drumkeep.errors import Invalid, NotFound
from drumkeep.operations.readings import record_batch
from drumkeep.operations.sensors import NewMount, create_sensor
from drumkeep.operations.strays import (
    FORGOTTEN_AFTER,
    ROOM_AFTER,
    adopt_stray,
    age_strays,
    forget_stray,
    strays_over,
    usual_interval_s,
)
from drumkeep.storage import catalogue, place_marks, readings, strays
from drumkeep.storage.tables.catalogue import Gateway
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]
pytestmark = pytest.mark.both_stores

NOW = datetime(2026, 2, 5, 18, tzinfo=UTC)
T0 = to_ms(datetime(2026, 2, 5, tzinfo=UTC))
MINUTE = 60_000
NAME = "urn:dev:ow:10e2073a0108feed:temp"


def pack(*some, name=NAME, quantity=Quantity.TEMPERATURE, gateway=Shed.gateway):
    return ArrivedPack(
        source="drumkeep/v1/north/attic/readings",
        gateway=GatewayKey(Shed.site, gateway),
        readings=tuple(Reading(name, quantity, ts, value, i) for i, (ts, value) in enumerate(some)),
        rejections=(),
        spool=None,
        prefix=b"[...]",
        size=5,
    )


def hear(shed, *some, now=NOW, **sent):
    with transaction(shed.engine) as tx:
        return record_batch(tx, packs=[pack(*some, **sent)], now=now)


def add_gateway(shed, code):
    with transaction(shed.engine) as tx:
        site = catalogue.site_by_code(tx, code=Shed.site)
        assert site is not None
        catalogue.add(tx, Gateway(site_id=site.id, code=code, urn=f"urn:dev:os:32473-{code}"))


def age(shed, now):
    with reading(shed.engine) as tx:
        over = strays_over(tx)
    with transaction(shed.engine) as tx:
        age_strays(tx, over=over, now=now)


def kept(shed):
    with reading(shed.engine) as tx:
        return {
            row.name: (row.quantity, row.heard, strays.readings_of(tx, stray_id=row.id))
            for row in strays.list_strays(tx)
        }


def stored(shed, sensor_id):
    with reading(shed.engine) as tx:
        found = readings.series(tx, sensor_ids=[sensor_id], from_ms=T0, to_ms=T0 + 100 * MINUTE)
    if sensor_id not in found:
        return []
    times, values = found[sensor_id]
    return list(zip(times.tolist(), values.tolist(), strict=True))


def test_readings_of_an_unregistered_sensor_are_kept_once_and_in_order(shed):
    hear(shed, (T0 + MINUTE, 2.0), (T0, 1.0))
    outcome = hear(shed, (T0, 1.0), (T0, 9.0), (T0 + 2 * MINUTE, 3.0))

    assert kept(shed) == {
        NAME: ("temperature", 5, [(T0, 1.0), (T0 + MINUTE, 2.0), (T0 + 2 * MINUTE, 3.0)])
    }
    assert "kept aside" in outcome.packs[0].rejected[0].mend


def test_adopted_it_brings_its_history_and_has_its_place_computed_from_its_first_reading(shed):
    hear(shed, *((T0 + i * 5 * MINUTE, float(i)) for i in range(4)))
    with transaction(shed.engine) as tx:
        stray_id = strays.list_strays(tx)[0].id
        mount = NewMount(what="air", place="north/hall")
        sensor = adopt_stray(tx, stray_id=stray_id, mount=mount, now=NOW)

    assert stored(shed, sensor.id) == [(T0 + i * 5 * MINUTE, float(i)) for i in range(4)]
    assert (sensor.interval_s, sensor.gateway_id) == (300.0, shed.gateway_id)
    with reading(shed.engine) as tx:
        (hung,) = catalogue.mounts_of(tx, sensor_ids=[sensor.id])
        assert to_ms(hung.since) == T0
        assert readings.newest(tx, sensor_ids=[sensor.id])[sensor.id].ts_ms == T0 + 15 * MINUTE
        (mark,) = place_marks.standing(tx)
        assert mark.place_id == shed.hall
        assert mark.from_ms <= T0
    assert kept(shed) == {}
    assert hear(shed, (T0 + 20 * MINUTE, 4.0)).packs[0].stored == 1


def test_registering_its_name_in_any_way_brings_what_was_kept(shed):
    hear(shed, (T0, 1.0))
    with transaction(shed.engine) as tx:
        sensor = create_sensor(tx, name=NAME, quantity="temperature", interval_s=60, now=NOW)

    assert stored(shed, sensor.id) == [(T0, 1.0)]
    assert kept(shed) == {}


def test_readings_of_another_quantity_are_not_mixed_in(shed):
    hear(shed, (T0, 50.0), quantity=Quantity.HUMIDITY)
    hear(shed, (T0 + MINUTE, 1.0))
    assert kept(shed)[NAME] == ("humidity", 1, [(T0, 50.0)])

    with transaction(shed.engine) as tx:
        sensor = create_sensor(tx, name=NAME, quantity="temperature", interval_s=60, now=NOW)

    assert stored(shed, sensor.id) == []


def test_no_gateway_speaks_for_a_sensor_of_another_until_it_is_said_to_be_connected_there(shed):
    add_gateway(shed, "other")
    others = hear(shed, (T0, 77.0), (T0 + MINUTE, 78.0), name=Shed.air_name, gateway="other")
    own = hear(shed, (T0, 5.0), name=Shed.air_name)
    again = hear(shed, (T0, 77.0), name=Shed.air_name, gateway="other")

    assert stored(shed, shed.air) == [(T0, 5.0)]
    assert (own.packs[0].stored, own.packs[0].rejected) == (1, ())
    for outcome in (others, again):
        told = outcome.packs[0]
        assert (told.stored, told.duplicates) == (0, 0)
        assert told.rejected[0].problem == "is registered with another gateway"
        assert "kept aside" in told.rejected[0].mend
    with transaction(shed.engine) as tx:
        (row,) = strays.list_strays(tx)
        sensor = adopt_stray(tx, stray_id=row.id, mount=None, now=NOW)
        assert (sensor.id, sensor.gateway_id) == (shed.air, row.gateway_id)

    # Its own value of that time was first; from then on the other gateway is its own.
    assert stored(shed, shed.air) == [(T0, 5.0), (T0 + MINUTE, 78.0)]
    with reading(shed.engine) as tx:
        (mark,) = place_marks.standing(tx)
        assert (mark.place_id, mark.from_ms <= T0) == (shed.hall, True)
    assert hear(shed, (T0 + 2 * MINUTE, 6.0), name=Shed.air_name).packs[0].stored == 0
    took = hear(shed, (T0 + 2 * MINUTE, 79.0), name=Shed.air_name, gateway="other")
    assert took.packs[0].stored == 1


def test_two_gateways_that_send_one_sensor_in_one_batch_are_told_apart(shed):
    add_gateway(shed, "other")
    hear(shed, (T0, 5.0), name=Shed.air_name)
    some = [pack((T0, 5.0), name=Shed.air_name, gateway=one) for one in ("other", Shed.gateway)]
    with transaction(shed.engine) as tx:
        outcome = record_batch(tx, packs=some, now=NOW)

    other, own = outcome.packs
    assert (other.stored, other.duplicates, len(other.rejected)) == (0, 0, 1)
    assert (own.stored, own.duplicates, own.rejected) == (0, 1, ())


def test_a_stray_that_cannot_hang_there_stays_kept(shed):
    hear(shed, (T0, 1.0))
    with reading(shed.engine) as tx:
        stray_id = strays.list_strays(tx)[0].id
    mount = NewMount(what="humidity", place="north/hall")
    with pytest.raises(Invalid), transaction(shed.engine) as tx:
        adopt_stray(tx, stray_id=stray_id, mount=mount, now=NOW)

    assert kept(shed)[NAME][2] == [(T0, 1.0)]


def test_forgotten_it_is_gone_until_it_is_heard_again(shed):
    hear(shed, (T0, 1.0))
    with transaction(shed.engine) as tx:
        stray_id = strays.list_strays(tx)[0].id
        forget_stray(tx, stray_id=stray_id)
    with pytest.raises(NotFound), transaction(shed.engine) as tx:
        forget_stray(tx, stray_id=stray_id)
    assert kept(shed) == {}

    hear(shed, (T0 + MINUTE, 2.0))
    assert kept(shed)[NAME][2] == [(T0 + MINUTE, 2.0)]


def test_the_oldest_readings_and_the_newest_names_beyond_the_bounds_are_not_kept(shed, monkeypatch):
    monkeypatch.setattr(strays, "MOST_READINGS", 3)
    monkeypatch.setattr(strays, "TRIM_EVERY", 1)
    monkeypatch.setattr(strays, "MOST_NAMES", 2)
    hear(shed, *((T0 + i * MINUTE, float(i)) for i in range(5)))
    hear(shed, (T0, 1.0), name="second")
    outcome = hear(shed, (T0, 1.0), name="third")

    assert set(kept(shed)) == {NAME, "second"}
    assert [value for _, value in kept(shed)[NAME][2]] == [2.0, 3.0, 4.0]
    assert "kept aside" not in outcome.packs[0].rejected[0].mend


def test_one_that_has_been_silent_for_a_day_makes_room_for_a_new_one(shed, monkeypatch):
    monkeypatch.setattr(strays, "MOST_NAMES", 2)
    hear(shed, (T0, 1.0), name="first")
    hear(shed, (T0, 1.0), name="second", now=NOW + ROOM_AFTER / 2)
    hear(shed, (T0, 1.0), name="third", now=NOW + ROOM_AFTER)
    assert set(kept(shed)) == {"first", "second"}

    hear(shed, (T0, 1.0), name="third", now=NOW + 1.1 * ROOM_AFTER)
    assert set(kept(shed)) == {"second", "third"}


def test_what_nobody_has_heard_for_90_days_is_forgotten(shed):
    hear(shed, (T0, 1.0), name="first")
    hear(shed, (T0, 1.0), name="second", now=NOW + timedelta(hours=1))
    age(shed, NOW + FORGOTTEN_AFTER)
    assert set(kept(shed)) == {"first", "second"}

    age(shed, NOW + FORGOTTEN_AFTER + timedelta(minutes=1))
    assert set(kept(shed)) == {"second"}


def test_many_names_share_what_may_be_kept_of_all(shed, monkeypatch):
    monkeypatch.setattr(strays, "ALL_READINGS", 6)
    hear(shed, *((T0 + i * MINUTE, float(i)) for i in range(5)), name="first")
    for name in ("second", "third"):
        hear(shed, (T0, 1.0), name=name)
    assert len(kept(shed)["first"][2]) == 5

    age(shed, NOW)
    assert [value for _, value in kept(shed)["first"][2]] == [3.0, 4.0]


def test_what_an_unknown_gateway_or_no_name_sends_is_not_kept(shed):
    hear(shed, (T0, 1.0), gateway="nobody")
    hear(shed, (T0, 1.0), name="no name\n")

    assert kept(shed) == {}


def test_how_often_it_sends_is_read_from_when_it_did(shed):  # noqa: ARG001 - runs on both stores
    times = [0, 60_000, 120_000, 180_000, int(timedelta(hours=9).total_seconds() * 1000)]

    assert usual_interval_s(times) == 60
    assert usual_interval_s(times[:2]) == 300
