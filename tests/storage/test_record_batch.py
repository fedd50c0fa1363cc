"""Packs are stored once, mark what they change, and are kept with their reason when refused."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.domain.grid import to_ms
from drumkeep.domain.readings import (
    ArrivedPack,
    GatewayKey,
    Reading,
    Rejection,
    SpoolNumber,
)
from drumkeep.domain.sensors import Quantity
from drumkeep.operations.presence import note_presence
from drumkeep.operations.readings import (
    BatchOutcome,
    Confirmation,
    PackOutcome,
    record_batch,
    record_what_fits,
)
from drumkeep.operations.readings_batch import REASONS_PER_PACK
from drumkeep.storage import catalogue, place_marks, readings, rejects
from drumkeep.storage.place_marks import Mark
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]
pytestmark = pytest.mark.both_stores

NOW = datetime(2026, 2, 5, 18, tzinfo=UTC)
T0 = to_ms(datetime(2026, 2, 5, tzinfo=UTC))
MINUTE = 60_000
POISON = {
    "sqlite": [
        """CREATE TRIGGER poison BEFORE INSERT ON reading WHEN NEW.value = 13.0
        BEGIN SELECT RAISE(ABORT, 'unlucky'); END"""
    ],
    "postgresql": ["ALTER TABLE reading ADD CONSTRAINT unlucky CHECK (value <> 13.0)"],
}
ATTIC = GatewayKey(Shed.site, Shed.gateway)


def cel(name: str, ts_ms: int, value: float, index: int = 0) -> Reading:
    return Reading(name, Quantity.TEMPERATURE, ts_ms, value, index)


def pack(
    *some: Reading,
    gateway: GatewayKey | None = ATTIC,
    number: int | None = None,
    rejections: Iterable[Rejection] = (),
    prefix: bytes = b"[...]",
) -> ArrivedPack:
    return ArrivedPack(
        source="drumkeep/v1/north/attic/readings",
        gateway=gateway,
        readings=some,
        rejections=tuple(rejections),
        spool=None if number is None else SpoolNumber(Shed.urn, "00c0ffee", number),
        prefix=prefix,
        size=len(prefix),
    )


def record(shed: Shed, *packs: ArrivedPack) -> BatchOutcome:
    with transaction(shed.engine) as tx:
        return record_batch(tx, packs=packs, now=NOW)


def rows(shed: Shed, sensor_id: int) -> list[tuple[int, float]]:
    with reading(shed.engine) as tx:
        found = readings.series(tx, sensor_ids=[sensor_id], from_ms=0, to_ms=0)
        ts, values = readings.series(
            tx, sensor_ids=[sensor_id], from_ms=T0 - 100 * MINUTE, to_ms=T0 + 1000 * MINUTE
        )[sensor_id]
    assert len(found[sensor_id][0]) == 0
    return list(zip(ts.tolist(), values.tolist(), strict=True))


def marks(shed: Shed) -> Sequence[Mark]:
    with reading(shed.engine) as tx:
        return place_marks.standing(tx)


def reasons(shed: Shed) -> list[tuple[str, str, str, int]]:
    with reading(shed.engine) as tx:
        return [
            (row.field, row.value, row.problem, row.records)
            for row in reversed(rejects.list_rejects(tx))
        ]


def test_a_pack_is_stored_raw_and_told_of(shed: Shed):
    outcome = record(
        shed,
        pack(
            cel(shed.air_name, T0, -7.0),
            cel(shed.air_name, T0 + 5 * MINUTE, -7.5),
            Reading(shed.damp_name, Quantity.HUMIDITY, T0, 81.0),
        ),
    )

    assert outcome == BatchOutcome((PackOutcome(3, 0, ()),), ())
    assert rows(shed, shed.air) == [(T0, -7.0), (T0 + 5 * MINUTE, -7.5)]
    assert rows(shed, shed.damp) == [(T0, 81.0)]
    with reading(shed.engine) as tx:
        assert readings.newest(tx, sensor_ids=[shed.air])[shed.air] == readings.Latest(
            shed.air, T0 + 5 * MINUTE, -7.5, to_ms(NOW), T0
        )
        gateway = catalogue.gateway_by_code(tx, site=shed.site, code=shed.gateway)
        assert gateway is not None
        assert gateway.last_seen_at == NOW


def test_the_same_pack_again_changes_nothing(shed: Shed):
    one = pack(cel(shed.air_name, T0, 1.0), cel(shed.air_name, T0 + MINUTE, 2.0))
    record(shed, one)
    before = marks(shed)

    again = record(shed, one, one)

    assert [(told.stored, told.duplicates) for told in again.packs] == [(0, 2), (0, 2)]
    assert marks(shed) == before
    assert reasons(shed) == []


def test_of_two_values_for_one_time_the_first_stays_and_the_second_is_kept_aside(shed: Shed):
    record(shed, pack(cel(shed.air_name, T0, 1.0)))

    outcome = record(
        shed,
        pack(cel(shed.air_name, T0, 1.5, index=4)),
        pack(cel(shed.air_name, T0 + MINUTE, 2.0), cel(shed.air_name, T0 + MINUTE, 3.0, index=1)),
    )

    assert rows(shed, shed.air) == [(T0, 1.0), (T0 + MINUTE, 2.0)]
    assert [told.stored for told in outcome.packs] == [0, 1]
    assert [
        (told.index, told.field, told.value) for one in outcome.packs for told in one.rejected
    ] == [(4, "v", 1.5), (1, "v", 3.0)]
    assert [value for _, value, _, _ in reasons(shed)] == ["1.5", "3.0"]


def test_what_can_be_adopted_is_told_to_the_sender_and_not_listed_as_refused(shed: Shed):
    outcome = record(shed, pack(cel("urn:dev:ow:1:temp", T0, 1.0), cel(shed.air_name, T0, 1.0)))

    (told,) = outcome.packs[0].rejected
    assert (told.problem, told.field) == ("is not registered", "n")
    assert "kept aside" in told.mend
    assert reasons(shed) == []


def test_what_is_not_registered_and_not_kept_aside_is_listed_once_per_sensor(
    shed: Shed, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("drumkeep.storage.strays.MOST_NAMES", 0)
    unknown = [cel("urn:dev:ow:1:temp", T0 + ts, 1.0, index=ts) for ts in range(3)]
    outcome = record(
        shed, pack(*unknown, cel("urn:dev:ow:2:temp", T0, 1.0), cel(shed.air_name, T0, 1.0))
    )

    assert outcome.packs[0].stored == 1
    assert len(outcome.packs[0].rejected) == 4
    assert reasons(shed) == [
        ("n", "urn:dev:ow:1:temp", "is not registered", 3),
        ("n", "urn:dev:ow:2:temp", "is not registered", 1),
    ]


def test_a_unit_that_the_sensor_does_not_measure_is_refused(shed: Shed):
    outcome = record(shed, pack(Reading(shed.air_name, Quantity.HUMIDITY, T0, 50.0)))

    assert outcome.packs[0].stored == 0
    assert outcome.packs[0].rejected[0].field == "u"


def test_one_of_another_unit_is_no_repetition_of_what_is_stored(shed: Shed):
    record(shed, pack(cel(shed.air_name, T0, 1.0)))
    wrong = Reading(shed.air_name, Quantity.HUMIDITY, T0, 1.0)

    outcome = record(shed, pack(wrong), pack(cel(shed.air_name, T0, 1.0)), pack(wrong))

    assert [(told.stored, told.duplicates) for told in outcome.packs] == [(0, 0), (0, 1), (0, 0)]
    assert [[one.field for one in told.rejected] for told in outcome.packs] == [["u"], [], ["u"]]
    assert rows(shed, shed.air) == [(T0, 1.0)]


def test_a_gateway_that_is_not_registered_is_refused_and_never_confirmed(shed: Shed):
    outcome = record(
        shed,
        pack(cel(shed.air_name, T0, 1.0), gateway=GatewayKey("north", "cellar"), number=1),
        pack(cel(shed.air_name, T0, 1.0), gateway=GatewayKey("south", "attic"), number=1),
    )

    assert outcome.confirmations == ()
    assert rows(shed, shed.air) == []
    assert {field for field, *_ in reasons(shed)} == {"topic"}


def test_packs_are_confirmed_up_to_the_first_hole_and_a_refused_one_counts(shed: Shed):
    bad = Rejection(None, "", None, "is not JSON", "Send JSON.")
    first = record(
        shed,
        pack(cel(shed.air_name, T0, 1.0), number=5),
        pack(number=6, rejections=[bad]),
        pack(cel("unknown", T0, 1.0), number=7),
        pack(cel(shed.air_name, T0 + MINUTE, 1.0), number=9),
    )
    second = record(shed, pack(cel(shed.air_name, T0 + 2 * MINUTE, 1.0), number=8))

    assert first.confirmations == (Confirmation(ATTIC, "00c0ffee", 7),)
    assert second.confirmations == (Confirmation(ATTIC, "00c0ffee", 9),)


def test_when_a_spool_was_confirmed_is_stored_as_every_other_time(shed: Shed):
    record(shed, pack(cel(shed.air_name, T0, 1.0), number=1))

    with reading(shed.engine) as tx:
        same = tx.session.connection().exec_driver_sql(
            "SELECT count(*) FROM spool_mark JOIN gateway ON gateway.id = spool_mark.gateway_id "
            "WHERE spool_mark.changed_at = gateway.last_seen_at"
        )
        assert same.scalar() == 1


def test_a_first_reading_marks_its_place_from_itself(shed: Shed):
    record(shed, pack(cel(shed.air_name, T0, 1.0)))

    assert marks(shed) == [Mark(shed.hall, T0, 1)]


def test_a_reading_marks_its_place_from_the_reading_before(shed: Shed):
    record(shed, pack(cel(shed.air_name, T0, 1.0), cel(shed.air_name, T0 + 60 * MINUTE, 1.0)))
    with transaction(shed.engine) as tx:
        place_marks.settle(tx, marks=place_marks.standing(tx))

    record(shed, pack(cel(shed.air_name, T0 + 90 * MINUTE, 1.0)))
    assert [mark.from_ms for mark in marks(shed)] == [T0 + 60 * MINUTE]

    # Late: between the two that were there first.
    record(shed, pack(cel(shed.air_name, T0 + 30 * MINUTE, 5.0)))
    assert [mark.from_ms for mark in marks(shed)] == [T0]


def test_a_reading_marks_the_place_where_its_sensor_hung_at_that_time(shed: Shed):
    moved = to_ms(shed.moved)
    record(
        shed,
        pack(
            cel(shed.roving_name, moved - 10 * MINUTE, 1.0),
            cel(shed.roving_name, moved - 5 * MINUTE, 1.0),
            cel(shed.roving_name, moved, 1.0),
            cel(shed.roving_name, moved + 5 * MINUTE, 1.0),
        ),
    )

    assert marks(shed) == [
        Mark(shed.hall, moved - 10 * MINUTE, 1),
        # The line to the first reading in the van began at the last one in the hall.
        Mark(shed.van, moved - 5 * MINUTE, 1),
    ]


def test_a_sensor_that_hangs_nowhere_marks_nothing(shed: Shed):
    outcome = record(shed, pack(cel(shed.loose_name, T0, 1.0)))

    assert outcome.packs[0].stored == 1
    assert marks(shed) == []


def test_a_wrong_clock_is_listed_once_however_often_it_sends(shed: Shed):
    def late(source: str, days: float) -> ArrivedPack:
        ahead_s = -days * 86_400
        reason = Rejection(0, "t", ahead_s, "is more than 90 days back", "Set it.", ahead_s)
        octets = str(days).encode()
        return pack(rejections=[reason], prefix=octets)._replace(source=source)

    record(shed, late("a", 365.0), late("b", 365.0))
    record(shed, late("a", 365.1))

    with reading(shed.engine) as tx:
        told = {row.source: (row.value, row.times) for row in rejects.list_rejects(tx)}
    assert told == {"a": ("about a year", 2), "b": ("about a year", 1)}


def test_refusals_of_one_pack_are_folded_and_bounded(shed: Shed, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("drumkeep.storage.strays.MOST_NAMES", 0)
    outcome = record(
        shed, pack(*(cel(f"urn:dev:ow:{number}", T0, 1.0, index=number) for number in range(500)))
    )

    assert len(outcome.packs[0].rejected) == 500
    assert len(reasons(shed)) == REASONS_PER_PACK


def test_nothing_of_a_batch_stays_when_its_transaction_fails(shed: Shed):
    def store_and_fail() -> None:
        with transaction(shed.engine) as tx:
            record_batch(tx, packs=[pack(cel(shed.air_name, T0, 1.0), number=1)], now=NOW)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        store_and_fail()

    assert rows(shed, shed.air) == []
    assert marks(shed) == []
    # The spool file begins anew: what failed was not seen.
    assert record(shed, pack(number=7)).confirmations == (Confirmation(ATTIC, "00c0ffee", 7),)


def test_one_pack_that_cannot_be_stored_does_not_keep_the_others_out(shed: Shed):
    with transaction(shed.engine) as tx:
        connection = tx.session.connection()
        for sql in POISON[connection.dialect.name]:
            connection.exec_driver_sql(sql)
    packs = [
        pack(cel(shed.air_name, T0 + number * MINUTE, float(number)), number=number)
        for number in range(10, 21)
    ]

    with transaction(shed.engine) as tx:
        outcome = record_what_fits(tx, packs=packs, now=NOW)

    assert [told.stored for told in outcome.packs] == [1, 1, 1, 0, 1, 1, 1, 1, 1, 1, 1]
    assert [value for _, value in rows(shed, shed.air)] == [
        float(number) for number in range(10, 21) if number != 13
    ]
    assert [problem for _, _, problem, _ in reasons(shed)] == ["could not be stored"]
    assert outcome.confirmations == (Confirmation(ATTIC, "00c0ffee", 20),)


def test_presence_is_noted_of_registered_gateways_only(shed: Shed):
    since = NOW - timedelta(minutes=5)
    with transaction(shed.engine) as tx:
        assert note_presence(tx, gateway=ATTIC, online=True, since=since, now=NOW)
        assert not note_presence(
            tx, gateway=GatewayKey("north", "cellar"), online=True, since=since, now=NOW
        )
    with transaction(shed.engine) as tx:
        later = NOW + timedelta(hours=1)
        note_presence(tx, gateway=ATTIC, online=False, since=later, now=later)
    with reading(shed.engine) as tx:
        gateway = catalogue.gateway_by_code(tx, site=shed.site, code=shed.gateway)

        assert gateway is not None
        assert (gateway.online, gateway.presence_at) == (False, NOW + timedelta(hours=1))
        assert gateway.last_seen_at == NOW
