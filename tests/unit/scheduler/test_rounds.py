"""A round over a company: what changed first, one bad drum alone, and questions that do not grow.

The bad drum is one whose stored checkpoint names a place that it never was in.
"""

import itertools
from datetime import timedelta

import pytest

from drumkeep.domain.grid import step_at, to_ms
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.operations import places, sensors, sites
from drumkeep.operations.alarms import active_causes, evaluate_alarms
from drumkeep.operations.due import due
from drumkeep.operations.estimates import compute, load, store
from drumkeep.operations.receipts import Receipt, receive_drums
from drumkeep.operations.sensors import NewMount
from drumkeep.operations.set_aside import REASON
from drumkeep.scheduler import rounds
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import estimates as estimate_rows
from drumkeep.storage import glances as glance_rows
from drumkeep.storage import ground as ground_rows
from tests.fixtures.depot import (
    HUNG_H,
    INTERVAL_S,
    MANAGER,
    MEASURED,
    at,
    depot,
    empty_depot,
    short_sight,
    steady,
    swinging,
)
from tests.fixtures.statements import statements

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")

NOWHERE = 999_999


def spoil(depot, tag):
    """Have every checkpoint of a drum name a place that is none; return them as they were."""
    drum_id = depot.drum(tag).id
    with depot.writing() as tx:
        kept = list(estimate_rows.checkpoints_between(tx, drum_id=drum_id, first=0, last=2**31 - 1))
        spoilt = []
        for row in kept:
            record = states_from_bytes([row.state]).copy()
            record["place"] = NOWHERE
            spoilt.append((drum_id, row.step, record.tobytes()))
        estimate_rows.replace_checkpoints(tx, after={drum_id: -1}, rows=spoilt)
    return [(drum_id, row.step, row.state) for row in kept]


def restore(depot, kept):
    with depot.writing() as tx:
        estimate_rows.replace_checkpoints(tx, after={kept[0][0]: -1}, rows=kept)


def many(depot, count, *, hours=0.0):
    """Receive so many drums into the hall."""
    receipts = [
        Receipt(
            event_id=depot.fresh_id(),
            product="iso",
            lot="2231",
            place=depot.places["hall"],
            at=at(hours),
            liquid_c=20.0,
        )
        for _ in range(count)
    ]
    with depot.writing() as tx:
        return [d.tag for d in receive_drums(tx, receipts=receipts, by=MANAGER, now=at(hours))]


# One bad drum


def test_a_drum_that_cannot_be_computed_is_unknown_and_all_others_are_computed(depot, caplog):
    depot.night()
    first, bad, last = many(depot, 3)
    depot.advance(1.0)
    spoil(depot, bad)

    depot.advance(2.0)

    for tag in (first, last):
        assert depot.estimate(tag).step == step_at(at(2.0))
        assert depot.estimate(tag).fault is None
    told = depot.estimate(bad)
    assert (told.readiness, told.basis, told.mean_c, told.bottom_c) == ("unknown", None, None, None)
    assert told.fault == f"KeyError: {NOWHERE}"
    for verdict in told.verdicts.values():
        assert (verdict["state"], verdict["answer"]) == ("unknown", "ASK")
        assert verdict["reasons"] == [REASON]
    with depot.looking() as tx:
        glances = glance_rows.of_drum(tx, drum_id=told.drum_id)
    assert {(one.state, one.mean_c) for one in glances} == {("unknown", None)}
    assert f"drum {bad} is set aside" in caplog.text


def test_alarms_are_looked_at_though_one_drum_cannot_be_computed(depot):
    depot.night()
    cold = depot.receive("van", 0.0, liquid_c=21.0)
    bad = depot.receive("van", 0.0, liquid_c=21.0)
    depot.advance(0.5)
    spoil(depot, bad)

    depot.advance(9.0)

    (alarm,) = [one for one in depot.alarms() if one.kind == "cold_load"]
    assert alarm.drums == [cold]


def test_it_is_left_alone_for_a_quarter_of_an_hour_and_then_tried_again(depot):
    depot.night()
    (bad,) = many(depot, 1)
    depot.advance(1.0)
    kept = spoil(depot, bad)
    depot.advance(2.0)
    restore(depot, kept)

    depot.advance(2.1)
    assert depot.estimate(bad).fault is not None
    depot.advance(2.3)

    assert depot.estimate(bad).fault is None
    depot.check_all(2.3)


def test_from_when_on_its_past_changed_is_not_forgotten_meanwhile(depot):
    depot.send({"hall": steady(18.0, first_h=-48.0, last_h=1.0)}, now=1.0)
    (bad,) = many(depot, 1)
    depot.advance(5.0)
    kept = spoil(depot, bad)
    depot.send({"hall": steady(5.0, first_h=1.25, last_h=5.0)}, now=5.0)
    depot.advance(5.0)
    assert depot.estimate(bad).fault is not None
    restore(depot, kept)

    depot.advance(5.5)

    assert depot.estimate(bad).fault is None
    depot.check_all(5.5)


def test_the_manager_is_told_of_those_that_cannot_be_computed_until_they_can(depot):
    depot.night()
    well, bad, worse = many(depot, 3)
    depot.advance(1.0)
    kept = [spoil(depot, tag) for tag in (bad, worse)]

    depot.advance(2.0)
    (alarm,) = [one for one in depot.alarms() if one.kind == "not_computed"]
    assert (alarm.state, alarm.audience) == ("unacknowledged", ["manager"])
    assert sorted(alarm.drums) == sorted([bad, worse])
    assert well not in alarm.drums

    for one in kept:
        restore(depot, one)
    depot.advance(2.3)
    (alarm,) = [one for one in depot.alarms() if one.kind == "not_computed"]
    assert (alarm.state, alarm.drums) == ("returned_unacknowledged", sorted([bad, worse]))


def test_what_was_seen_of_it_stays_and_keeps_people_off(depot):
    depot.night()
    (bad,) = many(depot, 1)
    depot.record(bad, "inspected", 1.0, bulge="seen")
    depot.advance(1.5)
    assert depot.estimate(bad).readiness == "on_hold"
    spoil(depot, bad)

    depot.advance(2.0)

    told = depot.estimate(bad)
    assert told.readiness == "on_hold"
    for verdict in told.verdicts.values():
        assert (verdict["state"], verdict["answer"]) == ("on_hold", "DO NOT OPEN")
        assert verdict["reasons"][-1] == REASON
    assert "bulged" in told.conditions


def test_what_is_recorded_of_it_stands(depot):
    depot.night()
    (bad,) = many(depot, 1)
    depot.advance(1.0)
    spoil(depot, bad)

    depot.record(bad, "opened", 2.0)

    assert depot.estimate(bad).readiness == "unknown"
    with depot.looking() as tx:
        kinds = [e.kind for e in drum_rows.event_rows(tx, drum_id=depot.drum(bad).id)]
    assert kinds == ["received", "opened"]


# What changed first


def test_a_drum_with_an_event_of_its_own_is_computed_before_those_due_by_air_and_time(depot):
    depot.send(
        {name: swinging(first_h=-9.0, last_h=1.0, mean=12.0, by=9.0) for name in MEASURED}, now=1.0
    )
    in_hall = many(depot, 3)
    in_van = depot.receive("van", 0.0)
    changed = in_hall[2]
    depot.advance(1.0)
    depot.send({"van": {1.05: 0.0}}, now=1.1)
    with depot.writing() as tx:
        drum_rows.mark(tx, from_ms={depot.drum(changed).id: to_ms(at(0.5))})

    with depot.looking() as tx:
        parts = list(due(tx, now=at(1.1)).portions())

    tags = {depot.drum(tag).id: tag for tag in (*in_hall, in_van)}
    found = [[tags[drum_id] for drum_id in part] for part in parts]
    assert found == [[changed], [in_van], in_hall[:2]]


# Questions that do not grow with the company


def asked_of_a_round(depot, count):
    many(depot, count)
    now = at(1.0)
    with depot.looking() as tx:
        since = due(tx, now=now).since
    assert len(since) >= count
    with statements(depot.engine) as loading, depot.looking() as tx:
        work = load(tx, since=since, now=now)
    outcome = compute(work)
    with statements(depot.engine) as storing, depot.writing() as tx:
        assert store(tx, outcome=outcome) == len(since)
    return loading.count, storing.count


def test_fifty_drums_are_loaded_and_stored_with_as_many_statements_as_five(
    empty_depot, tmp_path_factory
):
    asked = []
    for count in (5, 50):
        with empty_depot.copy(tmp_path_factory.mktemp("depot")) as depot:
            depot.night(hours=1.0)
            asked.append(asked_of_a_round(depot, count))

    few, many_ = asked
    assert many_[0] == few[0]
    # on SQLite rows go in by the two hundred
    assert many_[1] <= few[1] + 3


def settle_in(depot, count):
    """Make sites, each with a hall, a sensor that spoke, a rig and a drum."""
    with depot.writing() as tx:
        for number in range(count):
            code = f"s{number}"
            sites.create_site(tx, code=code, name=code, timezone="UTC")
            place = places.create_place(tx, site=code, code="hall", name="Hall", kind="warehouse")
            places.create_place(tx, site=code, code="rig", name="Rig", kind="rig")
            mount = NewMount(what="air", place=f"{code}/hall", since=at(HUNG_H))
            sensors.create_sensor(
                tx,
                name=f"{code}-air",
                quantity="temperature",
                interval_s=INTERVAL_S,
                mount=mount,
                now=at(0.0),
            )
            depot.places[code] = place.id
    air = steady(-5.0, first_h=-3.0, last_h=1.0)
    varied = {h: c + (h % 1.0) for h, c in air.items()}
    depot.send({f"s{number}-air": varied for number in range(count)}, now=1.0)
    receipts = [
        Receipt(
            event_id=depot.fresh_id(),
            product="iso",
            lot="2231",
            place=depot.places[f"s{number}"],
            at=at(0.0),
            liquid_c=21.0,
        )
        for number in range(count)
    ]
    with depot.writing() as tx:
        receive_drums(tx, receipts=receipts, by=MANAGER, now=at(1.0))


def test_fifty_sites_are_looked_at_with_as_many_questions_as_five(empty_depot, tmp_path_factory):
    asked = []
    for count in (5, 50):
        with empty_depot.copy(tmp_path_factory.mktemp("depot")) as depot:
            settle_in(depot, count)
            with depot.looking() as tx:
                all_sites = [site.id for site in ground_rows.sites(tx)]
            with statements(depot.engine) as sent, depot.looking() as tx:
                active = active_causes(tx, sites=all_sites, now=at(1.0))
            assert len(active) >= count  # each site's drum will be too cold
            asked.append(sent.count)

    assert asked[1] == asked[0]


def test_one_site_is_looked_at_without_the_others(depot):
    settle_in(depot, 2)
    with depot.looking() as tx:
        here, there = (site.id for site in ground_rows.sites(tx) if site.code.startswith("s"))
        of_here = active_causes(tx, sites=[here], now=at(1.0))
        of_there = active_causes(tx, sites=[there], now=at(1.0))
        of_all = active_causes(tx, now=at(1.0))

    assert {finding.site for finding in of_here.values()} == {here}
    assert {finding.site for finding in of_there.values()} == {there}
    assert {k: f for k, f in of_all.items() if f.site in (here, there)} == of_here | of_there


def test_the_alarm_of_a_sensor_goes_where_the_sensor_goes(depot):
    settle_in(depot, 2)
    with depot.looking() as tx:
        here, there = (site.id for site in ground_rows.sites(tx) if site.code.startswith("s"))
    with depot.writing() as tx:
        evaluate_alarms(tx, now=at(3.0))
    (silent,) = [a for a in depot.alarms() if (a.kind, a.cause) == ("sensor_silent", "s0-air")]
    assert silent.site_id == here
    depot.change_sensor(
        "s0-air", 3.1, {"mount": NewMount(what="air", place="s1/hall", since=at(3.1))}
    )

    for site in (here, there):
        rounds._look(depot.engine, sites=[site], now=at(3.2))

    (after,) = [a for a in depot.alarms() if (a.kind, a.cause) == ("sensor_silent", "s0-air")]
    assert (after.id, after.open_cause) == (silent.id, silent.open_cause)
    assert (after.site_id, after.place_id) == (there, depot.places["s1"])


def test_silence_is_noticed_where_nothing_is_due_while_drums_elsewhere_wait(depot):
    settle_in(depot, 1)
    depot.send({"van": {0.9: 5.0}}, now=1.0)
    depot.advance(1.0)
    before = {(alarm.kind, alarm.cause) for alarm in depot.alarms()}

    rounds.evaluate(depot.engine, at(3.0))  # the drum at the other site is not computed for then

    new = {(alarm.kind, alarm.cause) for alarm in depot.alarms()} - before
    assert ("sensor_silent", "van") in new
    assert ("sensor_silent", "s0-air") not in new


def test_of_very_many_sites_some_are_looked_at_each_minute_and_none_is_left_out(depot, monkeypatch):
    settle_in(depot, 4)
    depot.advance(1.0)
    monkeypatch.setattr(rounds, "SITES_A_MINUTE", 2)
    looks = []

    def look(_engine, **how):
        looks.append(how["sites"])
        return []

    monkeypatch.setattr(rounds, "_look", look)

    for minute in range(3):
        rounds.evaluate(depot.engine, at(1.0) + minute * timedelta(minutes=1))

    assert all(len(look) <= 2 for look in looks)
    with depot.looking() as tx:
        assert sorted(itertools.chain.from_iterable(looks)) == [
            site.id for site in ground_rows.sites(tx)
        ]
