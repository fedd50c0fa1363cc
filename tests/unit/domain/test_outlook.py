"""What lies ahead: the air to come, and when a limit is met in it."""

from dataclasses import replace

import numpy as np
import pytest

from drumkeep.domain.air_ahead import PER_HOUR, STRIDE, AirAhead, AirBasis
from drumkeep.domain.film import FilmInForce
from drumkeep.domain.outlook import (
    READY_HOURS,
    Prospect,
    first_below,
    first_perhaps_within,
    first_within,
    mixed_within,
    steps_below,
)
from drumkeep.thermal.band import Band
from drumkeep.thermal.boundary import Setting
from drumkeep.thermal.parameter_sets import FAST, LIKELY, SLOW
from tests.builders.past import ISO, at, event, place, received, state_after, step


def prospect(air_c, *, liquid_c=20.0, off_k=3.0):
    return Prospect(
        states=state_after([received(liquid_c=liquid_c)], hours=0.0, places=20.0),
        products=[ISO],
        heats=[place(20.0, hours=0.0)],
        ahead=[
            AirAhead(
                likely=np.full(READY_HOURS * PER_HOUR + 1, air_c),
                low=np.full(READY_HOURS * PER_HOUR + 1, air_c - off_k),
                high=np.full(READY_HOURS * PER_HOUR + 1, air_c + off_k),
                error_k=0.5,
                basis=AirBasis.USUAL_DAY,
            )
        ],
        share=np.ones(1),
        step=step(0.0),
    )


def test_the_slow_set_meets_the_coldest_air_and_the_fast_one_the_hottest():
    likely = prospect(20.0).course(hours=24, pessimist=False).layers_c
    course = prospect(20.0).course(hours=24, pessimist=True).layers_c

    assert course[-1, SLOW].mean() < likely[-1, SLOW].mean() - 1.0
    assert course[-1, FAST].mean() > likely[-1, FAST].mean() + 1.0
    assert (course[:, LIKELY] == likely[:, LIKELY]).all()


@pytest.mark.parametrize("pessimist", [False, True])
def test_warmer_air_to_come_lowers_no_limit_and_colder_raises_none(pessimist):
    # by the second law: what is colder than all that it will face gets no colder
    warmed = prospect(35.0, liquid_c=4.0).course(hours=48, pessimist=pessimist).band
    cooled = prospect(-10.0, liquid_c=35.0).course(hours=48, pessimist=pessimist).band

    assert (warmed.low >= warmed.low[0] - 1e-9).all()
    assert (cooled.high <= cooled.high[0] + 1e-9).all()
    assert warmed.low[-1] > warmed.low[0] + 1.0


def test_the_present_is_the_same_for_optimist_and_pessimist():
    course = prospect(-7.0).course(hours=2, pessimist=True)

    assert (course.layers_c[0, LIKELY] == 20.0).all()


def test_air_that_is_not_known_drives_the_likely_liquid_nowhere():
    course = prospect(float("nan")).course(hours=12, pessimist=False)

    assert course.layers_c[-1, LIKELY].mean() == pytest.approx(20.0, abs=0.05)


def test_a_sensors_error_widens_the_outlook():
    course = prospect(20.0).course(hours=1, pessimist=False)

    assert course.band.mean_high[0, 0] - course.band.mean_low[0, 0] >= 1.0 + 0.6


def test_an_outlook_agrees_with_what_then_is_computed():
    looked = prospect(-7.0, off_k=0.0).course(hours=12, pessimist=False)
    became = state_after([received(liquid_c=20.0)], hours=12.0, places=-7.0)

    # steps of a quarter of an hour instead of five minutes
    assert STRIDE == 3
    assert looked.layers_c[-1, LIKELY, 0] == pytest.approx(became["layers"][0, LIKELY], abs=0.4)


def band(low, high, *, mean_low=None, mean_high=None):
    """A band over time of one drum."""

    def column(values):
        return np.array(values, dtype=np.float64)[:, None]

    low, high = column(low), column(high)
    means = [low if mean_low is None else column(mean_low)]
    means.append(high if mean_high is None else column(mean_high))
    return Band(
        bottom=low,
        bottom_low=low,
        bottom_high=low,
        mean=low,
        mean_low=means[0],
        mean_high=means[1],
        top=high,
        top_low=high,
        top_high=high,
    )


TEN, TWENTY = np.array([10.0]), np.array([20.0])


@pytest.mark.parametrize(
    ("low", "high", "index"),
    [
        ([5, 9, 10, 12], [8, 12, 15, 16], 2),
        ([12, 12, 12, 12], [25, 22, 20, 19], 2),
        ([12, 12], [15, 15], 0),
        ([5, 9], [8, 12], -1),
        ([12, 12], [25, 22], -1),
        # cold, then warm all at once: never all within
        ([5, 9, 15], [12, 19, 24], -1),
    ],
)
def test_a_drum_is_ready_once_its_whole_band_lies_within(low, high, index):
    assert first_within(band(low, high), low_c=TEN, high_c=TWENTY).tolist() == [index]


def test_mixed_it_is_ready_once_its_mean_lies_within():
    found = band([1, 2, 3], [30, 30, 30], mean_low=[8, 10, 12], mean_high=[12, 14, 16])

    assert mixed_within(found, low_c=TEN, high_c=TWENTY).tolist() == [1]


def test_a_limit_is_passed_only_by_being_below_it():
    found = band([12, 10, 9.9, 12, 8], [12] * 5)

    assert first_below(found, limit_c=TEN).tolist() == [2]
    assert steps_below(found, limit_c=TEN).tolist() == [2]
    assert first_below(found, limit_c=np.array([5.0])).tolist() == [-1]


def test_all_liquid_may_lie_within_as_soon_as_the_warmest_bottom_and_the_coldest_top_do():
    found = band([5.0, 6.0, 8.0], [12.0, 14.0, 16.0])
    found = replace(
        found,
        bottom_high=found.bottom_low + 4.0,  # 9, 10, 12 °C
        top_low=found.top_high - 3.0,  # 9, 11, 13 °C
    )

    assert first_perhaps_within(found, low_c=TEN, high_c=TWENTY).tolist() == [1]
    assert first_within(found, low_c=TEN, high_c=TWENTY).tolist() == [-1]
    assert first_perhaps_within(found, low_c=TEN + 5.0, high_c=TWENTY).tolist() == [-1]
    assert first_perhaps_within(found, low_c=TEN, high_c=TWENTY - 10.0).tolist() == [-1]


def test_the_earliest_is_never_after_the_latest():
    course = prospect(25.0, liquid_c=12.0).course(hours=96, pessimist=True)
    limits = {"low_c": np.array([15.0]), "high_c": np.array([32.0])}

    earliest = int(first_perhaps_within(course.band, **limits)[0])
    latest = int(first_within(course.band, **limits)[0])
    assert 0 < earliest < latest


def test_a_start_in_doubt_stays_in_the_band_until_it_has_faded():
    sure, unsure = prospect(20.0), prospect(20.0)
    unsure.states["doubt_k"] = 10.0
    bands = [p.course(hours=96, pessimist=False).band for p in (sure, unsure)]
    wider = (bands[1].bottom_high - bands[1].bottom_low) - (
        bands[0].bottom_high - bands[0].bottom_low
    )

    # what the sets themselves are apart by is shown already
    sets = sure.states["layers"][0].mean(axis=-1)
    assert wider[0, 0] == pytest.approx(10.0 - abs(sets[FAST] - sets[SLOW]))
    left = unsure.doubt_after(np.array([0.0, 86_400.0]))[:, 0]
    assert 0.0 < left[1] < left[0] == 10.0
    assert (np.diff(wider[:, 0]) <= 1e-9).all()
    assert wider[-1, 0] < 2.0


def test_doubt_that_the_sets_show_already_is_not_counted_twice():
    found = prospect(20.0)
    found.states["layers"][0, SLOW] -= 5.0
    found.states["layers"][0, FAST] += 5.0
    found.states["doubt_k"] = 10.0
    without = replace(found, states=found.states.copy())
    without.states["doubt_k"] = 0.0

    told, plain = (p.course(hours=0, pessimist=False).band for p in (found, without))
    assert told.bottom_low == pytest.approx(plain.bottom_low)


def forward(events, heat, *, hours=12.0):
    """Mean of each layer as looked ahead for after the first hour, and as then computed."""
    begun = state_after(events, hours=1.0, places={1: cut(heat, hours=1.0)})
    air = float(heat.air.likely[-1])
    count = READY_HOURS * PER_HOUR + 1
    looked = Prospect(
        states=begun,
        products=[ISO],
        heats=[cut(heat, hours=1.0)],
        ahead=[
            AirAhead(
                likely=np.full(count, air),
                low=np.full(count, air),
                high=np.full(count, air),
                error_k=0.0,
                basis=AirBasis.USUAL_DAY,
            )
        ],
        share=np.ones(1),
        step=step(1.0),
    ).course(hours=int(hours) - 1, pessimist=False)
    became = state_after(events, hours=hours, places={1: heat})
    return looked.layers_c[-1, :, 0], became["layers"][0]


def cut(heat, *, hours):
    """The same place as known up to an hour, and for the day before it."""
    known = place(float(heat.air.likely[0]), hours=hours)
    floor = heat.floor and place(float(heat.floor.likely[0]), hours=hours).air
    return replace(heat, air=known.air, floor=floor)


def test_a_heater_and_its_blanket_warm_the_drum_ahead_until_they_are_taken_off():
    events = [
        received(liquid_c=10.0),
        event("heated", 0.5, device="band", watts=1000.0, until=at(5.0).isoformat()),
    ]
    looked, became = forward(events, place(10.0, hours=12.0))

    assert became.mean() > 15.0
    assert looked == pytest.approx(became, abs=0.5)


def test_what_was_learned_of_a_places_films_holds_ahead():
    strong = replace(place(-7.0, hours=12.0), film=[FilmInForce(step=step(0.0), factor=1.8)])
    looked, became = forward([received(liquid_c=20.0)], strong)
    plain, _ = forward([received(liquid_c=20.0)], place(-7.0, hours=12.0))

    assert looked == pytest.approx(became, abs=0.3)
    assert looked.mean() < plain.mean() - 1.0


def test_a_cold_slab_keeps_the_bottom_cold_ahead():
    warm = place(20.0, hours=12.0)
    slab = replace(warm, setting=Setting(standing="slab"), floor=place(2.0, hours=12.0).air)
    looked, became = forward([received(liquid_c=20.0)], slab)

    assert became[LIKELY, 0] < 19.0
    assert looked == pytest.approx(became, abs=0.3)
