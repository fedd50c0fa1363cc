"""Days ahead of drums: from when to when they are ready, and one look for all that are alike."""

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

from drumkeep.domain.outlook import Prospect
from drumkeep.operations import outlooks
from drumkeep.operations.days_ahead import AirsAhead
from drumkeep.operations.estimates import compute, load
from drumkeep.operations.places import change_place
from drumkeep.operations.verdicts import Known
from tests.fixtures.depot import MEASURED, at, depot, empty_depot, steady, swinging

__all__ = ["depot", "empty_depot"]


@pytest.fixture
def warm(depot):
    """Give a depot with two days of air: a hall at 12 °C, a warm room at its 27 °C."""
    readings = {"hall": 12.0, "room": 27.0}
    depot.send(
        {name: steady(c, first_h=-48.0, last_h=1.0, every_h=0.5) for name, c in readings.items()},
        now=1.0,
    )
    return depot


def verdict(depot, tag, output="from_20"):
    return depot.estimate(tag).verdicts[output]


def moment(text):
    return datetime.fromisoformat(text)


def test_a_cold_drum_is_told_from_when_to_when_it_will_be_ready(warm):
    tag = warm.receive("room", 0.0, liquid_c=12.0)
    warm.advance(1.0)
    told = verdict(warm, tag)

    assert told["state"] == "too_cold"
    assert moment(told["ready_from"]) < moment(told["ready_at"])
    assert told["ready_in_warm_room_at"] is None  # it is in the warm room


def test_in_the_warm_room_it_would_be_ready_from_then_to_then(warm):
    tag = warm.receive("hall", 0.0, liquid_c=12.0)
    warm.advance(1.0)
    told = verdict(warm, tag)

    assert (told["ready_at"], told["ready_from"]) == (None, None)
    assert moment(told["ready_in_warm_room_from"]) < moment(told["ready_in_warm_room_at"])


def test_a_drum_that_is_ready_waits_for_nothing(warm):
    tag = warm.receive("room", 0.0, liquid_c=25.0)
    warm.advance(1.0)
    told = verdict(warm, tag)

    assert told["state"] == "ready"
    assert (told["ready_at"], told["ready_from"]) == (None, None)


def test_drums_that_are_alike_are_looked_ahead_for_once(warm, monkeypatch):
    tags = [warm.receive("hall", 0.0, liquid_c=c) for c in (14.0, 14.0, 14.0, 9.0)]
    looked = []
    course = Prospect.course

    def counted(self, **how):
        looked.append(len(self.states))
        return course(self, **how)

    monkeypatch.setattr(Prospect, "course", counted)
    warm.advance(1.0)

    # one of the three and the fourth: where they are, and there and in the warm room
    assert looked == [2, 4]
    first, second, third, cold = (warm.estimate(tag).outlook for tag in tags)
    assert first == second == third
    assert cold != first


def test_what_else_is_looked_ahead_for_changes_nothing(warm):
    tag = warm.receive("hall", 0.0, liquid_c=14.0)
    warm.advance(1.0)
    alone = warm.estimate(tag)

    warm.receive("hall", 0.0, liquid_c=14.02, recorded=1.0)
    warm.receive("hall", 0.0, liquid_c=20.0, recorded=1.0)
    warm.record(tag, "opened", 0.9, recorded=1.0)
    warm.advance(1.0)

    assert warm.estimate(tag).outlook | {"open_since": None} == alone.outlook
    assert (
        warm.estimate(tag).verdicts["from_20"]["ready_in_warm_room_at"]
        == (alone.verdicts["from_20"]["ready_in_warm_room_at"])
    )


# Together and alone


def looked_at(known, states, work):
    return outlooks.look_ahead(
        known,
        states=states,
        airs=AirsAhead(work.places, work.step),
        premises=work.ground,
        now=work.now,
    )


def test_drums_marched_together_have_the_days_ahead_that_each_has_alone(depot):
    """Drums of all places and temperatures; some in the sun, most wanted at some time."""
    depot.send(
        {
            name: swinging(first_h=-48.0, last_h=1.0, mean=mean, by=6.0, every_h=0.5)
            for name, mean in zip(MEASURED, (12.0, 14.0, 27.0, 3.0), strict=True)
        },
        now=1.0,
    )
    with depot.writing() as tx:
        change_place(tx, site="north", code="dock", changes={"sun": True})
    tags = [depot.receive(place, 0.0, liquid_c=15.0) for place in (*MEASURED, "hall") * 2]
    ids = [depot.drum(tag).id for tag in tags]
    with depot.looking() as tx:
        work = load(tx, since=dict.fromkeys(ids, None), now=at(1.0))
    states = compute(work).advanced.states
    assert any(heat.sun is not None for heat in work.places.values())
    random = np.random.default_rng(5)
    states["layers"] += random.uniform(-7.0, 9.0, len(states))[:, None, None]
    states["doubt_k"] = random.uniform(0.0, 4.0, len(states))
    states["mass_kg"] *= random.uniform(0.3, 1.0, len(states))
    known = [
        Known(
            drum_id=task.drum.id,
            product=task.product,
            facts=replace(
                task.facts,
                wanted_at=None if row % 5 == 0 else at(float(random.uniform(0.0, 110.0))),
            ),
            share=task.drum.share,
        )
        for row, task in enumerate(work.tasks)
    ]

    together = looked_at(known, states, work)

    alone = [looked_at([one], states[i : i + 1], work)[0] for i, one in enumerate(known)]
    assert [replace(one, lowest_c=None) for one in together] == [
        replace(one, lowest_c=None) for one in alone
    ]
    np.testing.assert_allclose(
        [one.lowest_c for one in together], [one.lowest_c for one in alone], atol=1e-6, rtol=0
    )
    assert sum(one.start_by is not None for one in together) >= 2
