"""Queries on readings, marks, spool numbers and refusals."""

from contextlib import suppress
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from drumkeep.storage import place_marks, readings, rejects, spool_marks
from drumkeep.storage.rejects import Refusal
from drumkeep.storage.savepoint import savepoint
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]
pytestmark = pytest.mark.both_stores

NOW = datetime(2026, 2, 6, tzinfo=UTC)
T0 = 1_770_249_600_000  # 2026-02-05T00:00Z
HOUR = 3_600_000


@pytest.mark.parametrize(
    ("ts_ms", "hour"),
    [(0, 0), (3_599_999, 0), (3_600_000, 1), (-1, -1), (-3_600_000, -1), (T0, 491_736)],
)
def test_an_hour_begins_with_its_first_millisecond(ts_ms: int, hour: int):
    assert readings.hour_of(ts_ms) == hour


def test_the_first_value_of_a_sensor_and_time_stays(shed: Shed):
    with transaction(shed.engine) as tx:
        assert readings.insert_batch(tx, rows=[(shed.air, T0, 1.0), (shed.damp, T0, 50.0)]) == 2
        assert readings.insert_batch(tx, rows=[(shed.air, T0, 9.0), (shed.air, T0 + 1, 2.0)]) == 1
        assert readings.insert_batch(tx, rows=[]) == 0

        assert readings.stored(tx, keys=[(shed.air, T0), (shed.air, T0 + 1), (shed.air, 5)]) == {
            (shed.air, T0): 1.0,
            (shed.air, T0 + 1): 2.0,
        }


def test_the_first_value_stays_among_many_as_well(shed: Shed):
    """Many are first stored as if none were there (PostgreSQL)."""
    times = [T0 + minute * 60_000 for minute in range(1000)]
    with transaction(shed.engine) as tx:
        readings.insert_batch(tx, rows=[(shed.air, T0 + 60_000, 9.5)])
        new = [(shed.air, ts, 0.1 + ts / 7e6) for ts in times]
        assert readings.insert_batch(tx, rows=new) == 999
        assert readings.insert_batch(tx, rows=new) == 0
        both = [(shed.damp, ts, value) for ts in times for value in (40.0, 60.0)]
        assert readings.insert_batch(tx, rows=both) == 1000
        found = readings.series(
            tx, sensor_ids=[shed.air, shed.damp], from_ms=times[0], to_ms=times[-1]
        )

    assert found[shed.air][0].tolist() == times
    assert found[shed.air][1].tolist() == [9.5 if n == 1 else new[n][2] for n in range(1000)]
    assert set(found[shed.damp][1].tolist()) == {40.0}


def test_a_series_has_both_its_ends_and_only_its_sensors(shed: Shed):
    times = [T0 - 1, T0, T0 + HOUR - 1, T0 + HOUR, T0 + 30 * HOUR, T0 + 30 * HOUR + 1]
    with transaction(shed.engine) as tx:
        readings.insert_batch(
            tx,
            # In no order, as late packs come.
            rows=[(shed.air, ts, float(ts - T0)) for ts in reversed(times)]
            + [(shed.damp, T0, 50.0), (shed.loose, T0, 7.0)],
        )
    with reading(shed.engine) as tx:
        found = readings.series(
            tx, sensor_ids=[shed.air, shed.roving, shed.damp], from_ms=T0, to_ms=T0 + 30 * HOUR
        )

    assert set(found) == {shed.air, shed.roving, shed.damp}
    ts, values = found[shed.air]
    assert ts.dtype == np.int64
    assert ts.tolist() == times[1:5]
    assert values.tolist() == [float(t - T0) for t in times[1:5]]
    assert found[shed.damp][1].tolist() == [50.0]
    assert len(found[shed.roving][0]) == 0


def test_a_series_over_more_hours_than_one_query_takes(shed: Shed):
    times = [T0 + day * 24 * HOUR for day in range(100)]
    with transaction(shed.engine) as tx:
        readings.insert_batch(tx, rows=[(shed.air, ts, 1.0) for ts in times])
        found = readings.series(tx, sensor_ids=[shed.air], from_ms=T0, to_ms=times[-1])

    assert found[shed.air][0].tolist() == times


def test_the_latest_is_the_newest_by_time_and_not_by_arrival(shed: Shed):
    with transaction(shed.engine) as tx:
        readings.raise_latest(
            tx, rows=[(shed.air, T0 + 5, 2.0), (shed.air, T0, 1.0)], received_ms=10
        )
        readings.raise_latest(tx, rows=[(shed.air, T0 - HOUR, 0.0)], received_ms=20)
        readings.raise_latest(tx, rows=[], received_ms=30)

        found = readings.newest(tx, sensor_ids=[shed.air, shed.damp])

    assert found == {shed.air: readings.Latest(shed.air, T0 + 5, 2.0, 10, T0 - HOUR)}


@pytest.mark.parametrize("hours", [1, 5, 6, 7, 40, 500, 5000])
def test_the_reading_before_is_found_however_far_back(shed: Shed, hours: int):
    rows = [(shed.air, T0 - hours * HOUR, 1.0), (shed.air, T0, 2.0), (shed.air, T0 + 1, 3.0)]
    with transaction(shed.engine) as tx:
        readings.insert_batch(tx, rows=[*rows, (shed.damp, T0 - 1, 50.0)])
        readings.raise_latest(tx, rows=rows, received_ms=0)

        before = [
            readings.previous_ts(tx, sensor_id=shed.air, ts_ms=ts)
            for ts in (T0 + 2, T0 + 1, T0, T0 - hours * HOUR)
        ]

        assert before == [T0 + 1, T0, T0 - hours * HOUR, None]
        assert readings.previous_ts(tx, sensor_id=shed.loose, ts_ms=T0) is None
        asked = {shed.air: T0, shed.damp: T0 - 1, shed.loose: T0}
        assert readings.previous(tx, before=asked) == {shed.air: T0 - hours * HOUR}


def test_extremes_are_those_of_the_span(shed: Shed):
    span = [(T0 - 1, -40.0), (T0, 3.0), (T0 + HOUR, -2.0), (T0 + 2 * HOUR, 8.0)]
    with transaction(shed.engine) as tx:
        readings.insert_batch(
            tx,
            rows=[*((shed.air, ts, c) for ts, c in span), (shed.air, T0 + 2 * HOUR + 1, 90.0)],
        )

        found = readings.extremes(
            tx, sensor_ids=[shed.air, shed.damp], from_ms=T0, to_ms=T0 + 2 * HOUR
        )

    assert found == {shed.air: (-2.0, 8.0)}


def test_extremes_leave_out_what_cannot_be(shed: Shed):
    with transaction(shed.engine) as tx:
        rows = [(shed.air, T0 + i, c) for i, c in enumerate((-70.0, -5.0, 12.0, 85.0))]
        readings.insert_batch(tx, rows=rows)
        found = readings.extremes(
            tx, sensor_ids=[shed.air], from_ms=T0, to_ms=T0 + HOUR, within=(-50.0, 70.0)
        )

    assert found == {shed.air: (-5.0, 12.0)}


def test_a_sensor_that_said_one_value_for_six_hours_is_among_the_unchanging(shed: Shed):
    quarter = HOUR // 4
    with transaction(shed.engine) as tx:
        for sensor, still in ((shed.air, range(5, 30)), (shed.roving, range(5, 14))):
            rows = [
                (sensor, T0 + i * quarter, 7.0 if i in still else float(i)) for i in range(4 * 12)
            ]
            readings.insert_batch(tx, rows=rows)
        ids = [shed.air, shed.roving, shed.loose]

        # six hours and an hour and a half from a quarter past one on; whole hours of the clock
        assert readings.unchanging(tx, sensor_ids=ids, from_ms=T0, to_ms=T0 + 12 * HOUR - 1) == {
            shed.air
        }


def test_when_a_standstill_began_is_found_however_far_back(shed: Shed):
    with transaction(shed.engine) as tx:
        rows = [(shed.air, T0 - 900 * HOUR, 3.0), (shed.air, T0 - 899 * HOUR, 7.0)]
        rows += [(shed.air, T0 - i * HOUR, 7.0) for i in range(10)]
        readings.insert_batch(tx, rows=rows)
        readings.raise_latest(tx, rows=rows, received_ms=T0)

        other = readings.differed_ts(tx, sensor_id=shed.air, ts_ms=T0, value=7.0)
        assert other == T0 - 900 * HOUR
        assert (
            readings.first_ts(tx, sensor_id=shed.air, from_ms=other + 1, to_ms=T0)
            == T0 - 899 * HOUR
        )
        assert readings.differed_ts(tx, sensor_id=shed.air, ts_ms=other, value=3.0) is None
        assert readings.first_ts(tx, sensor_id=shed.air, from_ms=0, to_ms=T0 - 901 * HOUR) is None


def test_a_place_mark_keeps_the_earliest_time_and_grows(shed: Shed):
    with transaction(shed.engine) as tx:
        place_marks.lower(tx, from_ms={shed.hall: T0})
        place_marks.lower(tx, from_ms={shed.hall: T0 + 5, shed.van: T0 - 7})
        place_marks.lower(tx, from_ms={})

        assert place_marks.standing(tx) == [
            place_marks.Mark(shed.van, T0 - 7, 1),
            place_marks.Mark(shed.hall, T0, 2),
        ]


def test_a_mark_set_again_while_its_drums_were_computed_stands(shed: Shed):
    with transaction(shed.engine) as tx:
        place_marks.lower(tx, from_ms={shed.hall: T0, shed.van: T0})
        seen = place_marks.standing(tx)
    with transaction(shed.engine) as tx:
        place_marks.lower(tx, from_ms={shed.hall: T0 + 9})
    with transaction(shed.engine) as tx:
        place_marks.settle(tx, marks=seen)
        assert place_marks.standing(tx) == [place_marks.Mark(shed.hall, T0, 2)]

    with transaction(shed.engine) as tx:
        place_marks.lower(tx, from_ms={shed.van: T0 + 9})
        # Settled before, so that the old time no longer counts; the number goes on.
        assert place_marks.Mark(shed.van, T0 + 9, 2) in place_marks.standing(tx)


def advance(shed: Shed, *numbers: int, spool: str = "00c0ffee") -> int:
    with transaction(shed.engine) as tx:
        file = shed.gateway_id, spool
        return spool_marks.advance(tx, stored={file: numbers}, now=NOW)[file]


def test_a_spool_file_never_seen_begins_at_its_first_number(shed: Shed):
    assert advance(shed, 17) == 17
    assert advance(shed, 18, 19) == 19
    assert advance(shed, 0, spool="0badcafe") == 0


def test_numbers_past_a_hole_wait_for_it(shed: Shed):
    assert advance(shed, 1) == 1
    assert advance(shed, 3) == 1
    assert advance(shed, 5, 4) == 1
    assert advance(shed, 1) == 1
    assert advance(shed, 2) == 5
    assert advance(shed, 7, 6) == 7


def test_what_is_remembered_of_spool_files_is_bounded(shed: Shed):
    advance(shed, 0)
    assert advance(shed, *range(2, 10_000)) == 0
    assert advance(shed, 1) == 1 + spool_marks.REMEMBERED

    for number in range(100):
        advance(shed, 1, spool=f"{number:08x}")
    with transaction(shed.engine) as tx:
        count = tx.session.connection().exec_driver_sql("SELECT count(*) FROM spool_mark").scalar()
    assert count is not None
    assert count <= spool_marks.SPOOLS_KEPT + 1


def refusal(number: int, *, value: object = "x") -> Refusal:
    return Refusal("topic", f"{number:032x}", 0, "v", value, "is wrong", "Mend it.", 1, b"[", 1)


def test_a_refusal_that_comes_again_is_counted(shed: Shed):
    with transaction(shed.engine) as tx:
        rejects.add(tx, refusals=[refusal(1), refusal(2)], now=NOW)
        rejects.add(tx, refusals=[refusal(1)], now=NOW + timedelta(minutes=1))

        second, first = rejects.list_rejects(tx)
        assert (first.times, second.times) == (2, 1)
        assert first.received_at == NOW + timedelta(minutes=1)
        assert [row.id for row in rejects.list_rejects(tx, before=second.id)] == [first.id]


def test_refusals_are_bounded_and_the_newest_stay(shed: Shed):
    with transaction(shed.engine) as tx:
        for start in range(0, 100, 10):
            batch = [refusal(number, value=number) for number in range(start, start + 10)]
            rejects.add(tx, refusals=batch, now=NOW, keep=25)

        assert [row.value for row in rejects.list_rejects(tx)] == [
            str(number) for number in range(99, 74, -1)
        ]


def test_a_refusal_shows_any_value_as_text(shed: Shed):
    with transaction(shed.engine) as tx:
        values = ["\ud800", "a\0b", b"\xff", float("nan"), "x" * 10_000, None]
        for number, value in enumerate(values):
            rejects.add(tx, refusals=[refusal(number, value=value)], now=NOW)

        shown = [row.value for row in reversed(rejects.list_rejects(tx))]

    assert shown == ["\\ud800", "a\\0b", "b'\\xff'", "nan", "x" * 200, ""]


def test_a_savepoint_that_fails_takes_its_own_rows_with_it_and_no_others(shed: Shed):
    with transaction(shed.engine) as tx:
        readings.insert_batch(tx, rows=[(shed.air, T0, 1.0)])
        with suppress(ZeroDivisionError), savepoint(tx):
            readings.insert_batch(tx, rows=[(shed.air, T0 + 1, 1.0)])
            raise ZeroDivisionError
    with reading(shed.engine) as tx:
        found = readings.series(tx, sensor_ids=[shed.air], from_ms=T0, to_ms=T0 + 1)

    assert found[shed.air][0].tolist() == [T0]
