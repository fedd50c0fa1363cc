"""Sites have one home among the sessions, and sessions are shared out among processes."""

from collections import Counter

import pytest

from drumkeep.domain.sharing import free, home, somebody_waits, target

SITES = [f"site-{number:04}" for number in range(2000)]


def test_a_site_has_the_same_home_in_every_process():
    # Regression: another hash would let all sites move when the service is brought up to date.
    assert [home(site, slots=8) for site in SITES[:12]] == [6, 7, 1, 2, 3, 5, 5, 1, 5, 2, 0, 7]
    assert {home(site, slots=1) for site in SITES} == {0}


@pytest.mark.parametrize("slots", [2, 8, 16])
def test_sites_spread_evenly(slots):
    # 2,000 draws of 1 in n: six standard deviations of the binomial distribution
    counts = Counter(home(site, slots=slots) for site in SITES)
    mean = len(SITES) / slots
    assert set(counts) == set(range(slots))
    assert all(abs(count - mean) < 6 * (mean * (1 - 1 / slots)) ** 0.5 for count in counts.values())


def test_one_session_more_takes_its_share_and_moves_nothing_else():
    moved = [
        (home(site, slots=8), home(site, slots=9))
        for site in SITES
        if home(site, slots=8) != home(site, slots=9)
    ]
    assert {there for _, there in moved} == {8}
    assert 150 < len(moved) < 300  # 2,000 / 9 = 222


def settle(held, *, slots):
    """Have processes take what is free and give up what is too much, until all rest."""
    held = {worker: set(some) for worker, some in held.items()}
    moves = 0
    for _ in range(100):
        before = {worker: set(some) for worker, some in held.items()}
        for worker, some in held.items():
            counts = {one: len(its) for one, its in held.items()}
            mine = target(me=worker, held=counts, slots=slots)
            for slot in free(range(slots), held=set().union(*held.values())):
                if len(some) < mine:
                    some.add(slot)
            if len(some) > mine and somebody_waits(held=counts, slots=slots):
                some.remove(max(some))
                moves += 1
        if held == before:
            return held, moves
    raise AssertionError("they never rest")


@pytest.mark.parametrize(
    ("held", "slots", "sizes", "moved"),
    [
        ({1: (), 2: ()}, 8, [4, 4], 0),
        ({1: range(8)}, 8, [8], 0),
        ({1: range(8), 2: ()}, 8, [4, 4], 4),
        ({1: (0, 1), 2: (2, 3), 3: ()}, 4, [1, 1, 2], 1),
        ({1: (0, 1, 2), 2: (3, 4), 3: (5, 6)}, 7, [2, 2, 3], 0),
        ({1: (0,), 2: (), 3: ()}, 1, [0, 0, 1], 0),  # more processes than sessions
        ({1: (0, 1), 3: (4, 5)}, 6, [3, 3], 0),  # one has died
    ],
)
def test_processes_come_to_rest_with_fair_shares_and_few_moves(held, slots, sizes, moved):
    rested, moves = settle(held, slots=slots)

    assert sorted(len(some) for some in rested.values()) == sizes
    assert sorted(slot for some in rested.values() for slot in some) == list(range(slots))
    assert moves == moved
