"""Sensors of one place: one may stand apart, and two that differ stand apart from one another."""

import numpy as np

from drumkeep.domain.neighbours import APART_STEPS, others_say, stand_apart


def apart_of(*lines, sound=True, error_k=0.5):
    """Which of the sensors stand apart at each step that is answered."""
    found = np.broadcast_arrays(*lines)
    return stand_apart(
        np.stack(found).astype(float),
        sound=np.broadcast_to(np.asarray(sound), (len(found), found[0].shape[0])),
        error_k=[error_k] * len(found),
    )


def test_one_of_three_that_is_off_for_an_hour_stands_apart():
    steps = np.arange(48)
    off = np.where(steps < 20, 15.0, 22.0)
    lines = np.full(48, 15.0), np.full(48, 16.0), off
    apart = apart_of(*lines)

    assert not apart[:2].any()
    begins = int(np.flatnonzero(apart[2])[0]) + APART_STEPS
    # off by 6.5 K against 5: it is past the limit in the mean of the hour after some 50 minutes
    assert 20 < begins <= 20 + APART_STEPS
    others = others_say(np.stack(lines), sound=np.ones((3, 48), dtype=bool), row=2)
    assert others[-1] == 15.5


def test_two_that_differ_stand_apart_from_one_another():
    assert apart_of(np.full(24, 10.0), np.full(24, 16.0)).all()
    # 4 K and the errors of both
    assert not apart_of(np.full(24, 10.0), np.full(24, 15.0)).any()
    assert not apart_of(np.full(24, 10.0), np.full(24, 15.5), error_k=1.0).any()


def test_a_door_that_is_open_for_half_an_hour_sets_nobody_apart():
    steps = np.arange(96)
    door = np.where((steps > 30) & (steps <= 36), 5.0, 15.0)

    assert not apart_of(np.full(96, 15.0), np.full(96, 15.0), door).any()


def test_one_that_is_alone_or_alone_speaks_stands_apart_from_nobody():
    assert not apart_of(np.full(24, 10.0)).any()
    sound = np.ones((2, 24), dtype=bool)
    sound[1, 12:] = False
    assert not apart_of(np.full(24, 10.0), np.full(24, 40.0), sound=sound)[:, -1].any()
