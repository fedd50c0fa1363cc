"""A round: compute what is due, look at the alarms of each site whose drums are computed.

What fails for one drum is found by halves and set aside; nobody else waits for it.
"""

import threading
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Final

from drumkeep.operations.alarms import active_causes, keep_alarms
from drumkeep.operations.due import Due, due
from drumkeep.operations.estimates import compute, load, store
from drumkeep.operations.kept_outlooks import LookAhead
from drumkeep.operations.outlooks import look_ahead
from drumkeep.operations.set_aside import by_halves, set_aside
from drumkeep.storage import ground, place_marks
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import reading, transaction

SITES_AT_ONCE: Final = 200
"""Sites in one look at the causes of alarms: bounds its memory, and how long writers wait."""

SITES_A_MINUTE: Final = 400
"""Sites that are looked at for no new reason; where something is new it is looked at all the same.
2,000 sites take 7 s of the processor with 10,000 sensors, 21 with 50,000."""

_LOOKING: Final = threading.Lock()


def advance(engine: Engine, now: datetime, *, look: LookAhead = look_ahead) -> None:
    """Compute every drum whose past changed or whose present moved on.

    Parameters
    ----------
    engine, now
        As for every job.
    look
        Looks ahead for drums; may keep their outlooks from one round to the next.
    """
    with reading(engine) as tx:
        waiting = due(tx, now=now)
        marked = ground.sites_around(tx, place_ids=[mark.place_id for mark in waiting.marks])
    left = Counter(waiting.site_of.values())
    failed: list[Exception] = []
    done = [site for site in marked if site not in left]
    for part in waiting.portions():
        _compute(engine, part, waiting=waiting, look=look, now=now)
        left.subtract(waiting.site_of[drum_id] for drum_id in part)
        done += [site for site, count in left.items() if not count]
        left = +left
        failed += _look(engine, sites=done, now=now)
        done = []
    failed += _look(engine, sites=done, now=now)
    if waiting.marks:
        # only now: a crash before loses none of them
        with transaction(engine) as tx:
            place_marks.settle(tx, marks=waiting.marks)
    if failed:
        raise failed[0]


def evaluate(engine: Engine, now: datetime) -> None:
    """Look at every alarm's cause again; notices silent sensors and gateways too.

    Not where drums wait to be computed: what is stored of them is old, and whoever computes them
    looks at the alarms of their site next. Of very many sites some come at each minute.
    """
    with reading(engine) as tx:
        waiting = due(tx, now=now)
        sites = [site.id for site in ground.sites(tx)]
    turns = -(-len(sites) // SITES_A_MINUTE)
    if turns:
        waits = set(waiting.site_of.values())
        some = sites[int(now.timestamp() // 60) % turns :: turns]
        failed = _look(engine, sites=[site for site in some if site not in waits], now=now)
        if failed:
            raise failed[0]


def _compute(
    engine: Engine,
    since: Mapping[int, int | None],
    *,
    waiting: Due,
    look: LookAhead,
    now: datetime,
) -> None:
    def do(some: Mapping[int, int | None]) -> None:
        with reading(engine) as tx:
            work = load(tx, since=some, now=now, others=waiting.since)
        outcome = compute(work, look=look)
        with transaction(engine) as tx:
            store(tx, outcome=outcome)

    def give_up(one: Mapping[int, int | None], error: Exception) -> None:
        with transaction(engine) as tx:
            set_aside(tx, since=one, error=error, now=now)

    by_halves(since, do=do, give_up=give_up, what="drums")


def _look(engine: Engine, *, sites: Sequence[int], now: datetime) -> list[Exception]:
    """Look at the alarms of sites; return what went wrong at any, which keeps nobody else up."""
    failed: list[Exception] = []
    for start in range(0, len(sites), SITES_AT_ONCE):
        by_halves(
            dict.fromkeys(sites[start : start + SITES_AT_ONCE]),
            do=lambda some: _look_at(engine, sites=list(some), now=now),
            give_up=lambda _site, error: failed.append(error),
            what="alarms of sites",
        )
    return failed


def _look_at(engine: Engine, *, sites: Collection[int], now: datetime) -> None:
    # What was seen first must be kept first, or an alarm would come again that is over.
    with _LOOKING:
        with reading(engine) as tx:
            active = active_causes(tx, sites=sites, now=now)
        with transaction(engine) as tx:
            keep_alarms(tx, active=active, sites=sites, now=now)
