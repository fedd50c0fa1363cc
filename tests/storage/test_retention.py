"""Old readings are thinned, their figures stay, and nothing goes that something rests on."""

from datetime import timedelta

import numpy as np
import pytest
from sqlalchemy import select

from drumkeep.domain.grid import to_ms
from drumkeep.operations.readings_import import (
    ImportAsked,
    Tally,
    read_import,
    store_portion,
)
from drumkeep.operations.retention import CLAIMS, LOADS, bounds
from drumkeep.scheduler import jobs
from drumkeep.storage import air, alarms, readings
from drumkeep.storage.catalogue import sensor_by_name
from drumkeep.storage.readings import hour_of
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.readings import rollup_1h, rollup_15m
from drumkeep.storage.transaction import transaction
from tests.fixtures.depot import at, depot, empty_depot, short_sight

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = [pytest.mark.usefixtures("short_sight"), pytest.mark.both_stores]

RAW_DAYS = 90
LATER = RAW_DAYS * 24.0 + 48.0
FIRST = hour_of(to_ms(at(0.0)))
MINUTES = [float(minute) for minute in range(60)]


@pytest.fixture
def full(depot):
    """Give a depot whose hall was read each minute of the first hour, and once in the next."""
    values = {minute / 60.0: (minute % 15) ** 2 / 10.0 for minute in MINUTES}
    depot.send({"hall": {-2.0: 5.0} | values | {1.0: 5.0}}, now=1.0)
    return depot


def run(depot, *, hours=LATER):
    job = jobs.thinning(RAW_DAYS)
    for _ in range(4):
        job.run(depot.engine, at(hours))


def rows(depot, name="hall", *, last_h=2.0):
    with depot.looking() as tx:
        sensor = sensor_by_name(tx, name=name)
        assert sensor is not None
        return readings.series(
            tx, sensor_ids=[sensor.id], from_ms=to_ms(at(0.0)), to_ms=to_ms(at(last_h))
        )[sensor.id]


def test_one_real_reading_of_each_quarter_stays_the_nearest_to_its_mean(full):
    run(full)

    times, values = rows(full)
    # squares of 0 to 14 by ten: their mean is 6.77, and the nearest of them 6.4, eight minutes in
    assert ((times - to_ms(at(0.0))) / 60_000).tolist() == [8.0, 23.0, 38.0, 53.0, 60.0]
    assert values.tolist() == [6.4, 6.4, 6.4, 6.4, 5.0]


def test_how_many_the_lowest_the_highest_and_the_sum_stay_known(full):
    run(full)

    with full.looking() as tx:
        connection = tx.session.connection()
        quarters = connection.execute(select(rollup_15m).order_by(rollup_15m.c.quarter)).all()
        hour = connection.execute(select(rollup_1h).where(rollup_1h.c.hour == FIRST)).one()
    assert [(q.n, q.low, q.high) for q in quarters] == [(15, 0.0, 19.6)] * 4
    assert [q.total for q in quarters] == pytest.approx([101.5] * 4)
    assert (hour.n, hour.low, hour.high) == (60, 0.0, 19.6)
    assert hour.total == pytest.approx(406.0)


def test_the_mean_of_the_hour_is_still_that_of_all_readings(full):
    def mean():
        with full.looking() as tx:
            sensor = sensor_by_name(tx, name="hall")
            assert sensor is not None
            found = air.hourly_means(
                tx, sensor_ids=[sensor.id], first_hour=FIRST, last_hour=FIRST + 1
            )
            return found[sensor.id]

    before = mean()
    run(full)

    np.testing.assert_allclose(mean(), before)


def test_thinning_again_and_rolling_up_again_change_nothing(full):
    run(full)
    before = rows(full)[0].tolist()
    full.send({"hall": {0.001: 40.0}}, now=2.0)  # brought by a file, years late
    jobs.roll_up(full.engine, at(LATER))
    run(full)

    assert len(rows(full)[0]) == len(before) + 1
    with full.looking() as tx:
        connection = tx.session.connection()
        hour = connection.execute(select(rollup_1h).where(rollup_1h.c.hour == FIRST)).one()
    assert hour.n == 60


def test_a_file_of_thinned_hours_changes_nothing_and_that_is_said(full):
    run(full)
    before = rows(full)
    times = [at(minute / 60.0 + 1 / 7200) for minute in MINUTES]
    content = "\n".join(["time,hall", *(f"{time:%Y-%m-%dT%H:%M:%S}Z,-20" for time in times)])
    asked = ImportAsked(name="late.csv", units={"*": "C"})
    with transaction(full.engine) as tx:
        read = read_import(tx, content=content.encode(), asked=asked, now=at(LATER))
        tally = Tally()
        for pack in read.packs:
            tally.add(store_portion(tx, pack=pack, now=at(LATER)))
    told = tally.report(read.file)

    assert (told.stored, told.refused_count) == (0, 60)
    assert "was thinned" in told.refused[0].problem
    for one, other in zip(rows(full), before, strict=True):
        assert one.tolist() == other.tolist()


def test_the_same_file_again_after_thinning_stores_nothing_and_no_figure_moves(depot):
    lines = [f"{at(m / 60.0):%Y-%m-%dT%H:%M:%S}Z,{m % 15}" for m in range(61)]
    last = f"{at(3.0):%Y-%m-%dT%H:%M:%S}Z,5"  # so that neither end of all lies in these hours
    content = "\n".join(["time,hall", f"{at(-2.0):%Y-%m-%dT%H:%M:%S}Z,5", *lines, last]).encode()
    asked = ImportAsked(name="hall.csv", units={"*": "C"})

    def bring_in():
        tally = Tally()
        with transaction(depot.engine) as tx:
            read = read_import(tx, content=content, asked=asked, now=at(LATER))
            for pack in read.packs:
                tally.add(store_portion(tx, pack=pack, now=at(LATER)))
        jobs.roll_up(depot.engine, at(LATER))
        run(depot)
        with depot.looking() as tx:
            connection = tx.session.connection()
            figures = [
                sorted(map(tuple, connection.execute(select(table)).all()))
                for table in (rollup_15m, rollup_1h)
            ]
        return tally.report(read.file), figures, rows(depot)[0].tolist()

    first, figures, times = bring_in()
    again, same_figures, same_times = bring_in()

    assert (first.stored, len(times)) == (63, 5)
    # the hour with a reading a minute is closed; what stands alone in its hour is there already
    assert (again.stored, again.refused_count, again.duplicates) == (0, 60, 3)
    assert (same_figures, same_times) == (figures, times)


def test_nothing_younger_is_thinned(full):
    run(full, hours=RAW_DAYS * 24.0 + 0.9)

    assert len(rows(full)[0]) == 61


def test_what_a_drum_that_is_there_may_rest_on_is_left_alone(full):
    tag = full.receive("hall", 29 * 24.0, side="resin")
    run(full)
    assert len(rows(full)[0]) == 61

    full.record(tag, "disposed", 31 * 24.0)
    run(full)
    assert len(rows(full)[0]) == 5


def test_what_a_drum_rests_on_that_was_poured_into_another_is_left_alone(full):
    donor = full.receive("hall", 1.0, net_kg=200.0)
    taker = full.receive("hall", 32 * 24.0, net_kg=100.0)
    full.record(taker, "topped", 32 * 24.0 + 1.0, **{"from": donor, "kg": 20.0})
    full.record(donor, "disposed", 32 * 24.0 + 2.0)

    run(full)

    assert len(rows(full)[0]) == 61


def test_while_an_alarm_is_open_nothing_of_its_site_is_thinned(full):
    with full.writing() as tx:
        open_one = Alarm(
            id="0" * 32,
            kind="gassing",
            cause="north/1",
            open_cause="gassing north/1",
            site_id=1,
            state="unacknowledged",
            priority="medium",
            audience=[],
            message="Cool it.",
            drums=[],
            raised_at=at(0.0),
            changed_at=at(0.0),
        )
        alarms.add(tx, open_one)
    run(full)
    assert len(rows(full)[0]) == 61

    with full.writing() as tx:
        found = alarms.alarm(tx, alarm_id="0" * 32)
        assert found is not None
        found.open_cause = None
    run(full)
    assert len(rows(full)[0]) == 5


def test_a_strap_of_a_drum_that_is_there_is_left_alone(full):
    tag = full.receive("hall", 80 * 24.0)
    full.strap("strap", tag, 80 * 24.0)
    with full.looking() as tx:
        allowed = bounds(tx, raw_days=RAW_DAYS, now=at(LATER))
        strap = sensor_by_name(tx, name="strap")
        van = sensor_by_name(tx, name="van")
        assert strap is not None
        assert van is not None

    assert not allowed.allow(strap.id, hour=0)
    assert allowed.allow(van.id, hour=0)


@pytest.mark.parametrize("why", ["cold", "solids", "held"])
def test_what_a_claim_may_rest_on_is_left_alone_for_a_year_after_the_drum_ended(full, why):
    side = "iso" if why == "cold" else "resin"
    tag = full.receive("hall", 29 * 24.0, side=side, liquid_c=4.0)
    if why == "solids":
        full.record(tag, "inspected", 29 * 24.0 + 1.0, reached_bottom=True, solids="seen")
    if why == "held":
        full.record(tag, "held", 29 * 24.0 + 1.0, reason="it came wet")
    full.record(tag, "disposed", 31 * 24.0)
    run(full)
    assert len(rows(full)[0]) == 61

    run(full, hours=(31 + CLAIMS.days + 1) * 24.0)
    assert len(rows(full)[0]) == 5


def test_a_drum_is_kept_for_the_cold_of_another_of_its_lot(full):
    tag = full.receive("hall", 29 * 24.0)
    full.record(tag, "disposed", 29 * 24.0 + 0.1)
    assert full.estimate(tag).was_cold_c is None
    full.record(full.receive("van", 80 * 24.0, liquid_c=4.0), "disposed", 81 * 24.0)

    run(full)

    assert len(rows(full)[0]) == 61


def test_what_a_load_of_the_last_half_year_rests_on_is_left_alone(full):
    tag = full.receive("hall", 29 * 24.0, side="resin")
    full.record(tag, "moved", 30 * 24.0, to="van")
    full.record(tag, "emptied", 31 * 24.0)
    run(full)
    assert len(rows(full)[0]) == 61

    run(full, hours=(31 + LOADS.days + 1) * 24.0)
    assert len(rows(full)[0]) == 5


def test_the_newest_reading_of_a_sensor_that_fell_silent_is_still_found(depot):
    depot.send({"hall": {minute / 60.0: 1.0 for minute in MINUTES}}, now=1.0)
    run(depot, hours=LATER + timedelta(days=400).total_seconds() / 3600.0)

    assert len(rows(depot)[0]) == 60  # the hour of its last reading is left as it is
