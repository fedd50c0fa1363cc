"""The largest |air − mean| of the last hours, kept as a ring of hourly maxima."""

import numpy as np

from drumkeep.thermal.drive import HOURS, drive_of, record_drive

STEPS = 12  # to the hour


def recorded(differences, *, ring=None, first=0):
    """Record one drum's differences, a step each from step ``first`` on."""
    ring = np.zeros((1, HOURS)) if ring is None else ring
    for step, difference in enumerate(differences, start=first):
        record_drive(
            ring,
            hour=step // STEPS,
            new_hour=step % STEPS == 0,
            difference_k=np.array([float(difference)]),
        )
    return ring


def test_the_drive_is_the_largest_difference_so_far():
    assert drive_of(recorded([3.0, 9.0, 5.0]))[0] == 9.0


def test_a_difference_counts_for_six_hours_and_is_gone_within_seven():
    peak = [9.0] + [1.0] * (STEPS - 1)
    still_there = recorded(peak + [1.0] * (6 * STEPS))
    gone = recorded(peak + [1.0] * (6 * STEPS + 1))

    assert drive_of(still_there)[0] == 9.0
    assert drive_of(gone)[0] == 1.0


def test_a_ring_carried_over_gives_the_same_as_one_run():
    rng = np.random.default_rng(7)
    differences = rng.uniform(0.0, 20.0, size=200)
    whole = recorded(differences)
    for cut in (1, 11, 12, 13, 100, 199):
        first = recorded(differences[:cut])
        assert (recorded(differences[cut:], ring=first, first=cut) == whole).all()


def test_each_drum_has_its_own_ring():
    ring = np.zeros((2, HOURS))
    record_drive(ring, hour=0, new_hour=True, difference_k=np.array([1.0, 2.0]))
    record_drive(ring, hour=0, new_hour=False, difference_k=np.array([5.0, 0.0]))

    assert drive_of(ring).tolist() == [5.0, 2.0]
