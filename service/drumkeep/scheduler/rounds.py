"""A round: compute what is due, look at the alarms of each site whose drums are computed.

What fails for one drum is found by halves and set aside; nobody else waits for it.
"""

import threading
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from typing import Final

from drumkeep.operations.alarms import active_causes, keep_alarms
from drumkeep.operations.due import Due, due
from drumkeep.operations.estimates import compute, load, store
from drumkeep.operations.set_aside import by_halves, set_aside
from drumkeep.storage import ground, place_marks
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import reading, transaction

SITES_AT_ONCE: Final = 200
"""Sites in one look at the causes of alarms: bounds its memory, and how long writers wait."""

SITES_A_MINUTE: Final = 400
"""Sites that are looked at for no new reason; where something is new it is looked at all the same.
2,000 sites take a quarter of a minute of the processor."""

_LOOKING: Final = threading.Lock()


def advance(engine: Engine, now: datetime) -> None:
    """Compute every drum whose past changed or whose present moved on."""
    with reading(engine) as tx:
        waiting = due(tx, now=now)
        marked = ground.sites_around(tx, place_ids=[mark.place_id for mark in waiting.marks])
    left = Counter(waiting.site_of.values())
    quiet = [site for site in marked if site not in left]
    # beside the next computation, most of which leaves the interpreter to others
    with ThreadPoolExecutor(1, thread_name_prefix="alarms") as beside:
        looks = [beside.submit(_look, engine, sites=quiet, now=now)]
        for part in waiting.portions():
            _compute(engine, part, waiting=waiting, now=now)
            left.subtract(waiting.site_of[drum_id] for drum_id in part)
            done = [site for site, count in left.items() if not count]
            looks.append(beside.submit(_look, engine, sites=done, now=now))
            left = +left
    for look in looks:
        look.result()
    if waiting.marks:
        # only now: a crash before loses none of them
        with transaction(engine) as tx:
            place_marks.settle(tx, marks=waiting.marks)


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
        _look(engine, sites=[site for site in some if site not in waits], now=now)


def _compute(
    engine: Engine, since: Mapping[int, int | None], *, waiting: Due, now: datetime
) -> None:
    def do(some: Mapping[int, int | None]) -> None:
        with reading(engine) as tx:
            work = load(tx, since=some, now=now, others=waiting.since)
        outcome = compute(work)
        with transaction(engine) as tx:
            store(tx, outcome=outcome)

    def give_up(one: Mapping[int, int | None], error: Exception) -> None:
        with transaction(engine) as tx:
            set_aside(tx, since=one, error=error, now=now)

    by_halves(since, do=do, give_up=give_up)


def _look(engine: Engine, *, sites: Sequence[int], now: datetime) -> None:
    for start in range(0, len(sites), SITES_AT_ONCE):
        _look_at(engine, sites=sites[start : start + SITES_AT_ONCE], now=now)


def _look_at(engine: Engine, *, sites: Collection[int], now: datetime) -> None:
    # What was seen first must be kept first, or an alarm would come again that is over.
    with _LOOKING:
        with reading(engine) as tx:
            active = active_causes(tx, sites=sites, now=now)
        with transaction(engine) as tx:
            keep_alarms(tx, active=active, sites=sites, now=now)
