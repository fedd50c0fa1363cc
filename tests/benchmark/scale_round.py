"""What one round over a big company takes, stage by stage: PostgreSQL, in one process, no page.

    python -m tests.benchmark.scale_round --sites 2000 --sensors 10000 --drums 20000 --rounds 3

The first round computes every drum from its receipt. Before each other one every sensor has spoken
once more, so that every place is marked and every drum due; outlooks are kept from round to round
as the service does. Wall and processor seconds of this
process by stage (what the server takes is in the wall only); JSON on the standard output.
"""

import argparse
import json
import resource
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from types import ModuleType
from typing import Any, Final

from sqlalchemy import event

from drumkeep.domain.grid import STEP_MS, step_at, to_ms
from drumkeep.operations import kept_outlooks
from drumkeep.operations.due import due
from drumkeep.operations.kept_outlooks import KeptOutlooks, LookAhead
from drumkeep.scheduler import rounds as scheduler
from drumkeep.storage import place_marks, schema
from drumkeep.storage.engine import Engine, create
from drumkeep.storage.transaction import reading, transaction
from tests.benchmark.scale_company import OneSite, build, send_air
from tests.fixtures.postgres import running_postgres

STAGES: Final = (
    (scheduler, "due"),
    (scheduler, "load"),
    (scheduler, "compute"),
    (kept_outlooks, "look_ahead"),
    (scheduler, "store"),
    (scheduler, "active_causes"),
    (scheduler, "keep_alarms"),
)
"""``look_ahead`` is a part of ``outlooks``, where it is also seen which of them are kept, and that
of ``compute``."""


@dataclass
class Took:
    """What one stage took in all, in seconds, and how many statements it sent."""

    wall_s: float = 0.0
    processor_s: float = 0.0
    calls: int = 0
    statements: int = 0


@dataclass
class Clock:
    """Times stages while they run."""

    took: dict[str, Took] = field(default_factory=lambda: defaultdict(Took))
    statements: int = 0

    def over(self, name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        """Return the same call, timed."""

        def timed(*args: Any, **named: Any) -> Any:
            wall, processor, sent = time.perf_counter(), time.process_time(), self.statements
            try:
                return call(*args, **named)
            finally:
                took = self.took[name]
                took.wall_s += time.perf_counter() - wall
                took.processor_s += time.process_time() - processor
                took.calls += 1
                took.statements += self.statements - sent

        return timed

    def count(self, *_told: object) -> None:
        """Count a statement."""
        self.statements += 1


def main() -> None:
    """Run what the arguments ask for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--sites", type=int, default=2000)
    parser.add_argument("--sensors", type=int, default=10_000)
    parser.add_argument("--drums", type=int, default=20_000)
    parser.add_argument("--air-hours", type=float, default=24.0)
    parser.add_argument("--rounds", type=int, default=3)
    given = parser.parse_args()
    with ExitStack() as ends:
        cluster = ends.enter_context(running_postgres(durable=True))
        engine = create(cluster.url(ends.enter_context(cluster.database())))
        ends.callback(engine.dispose)
        schema.upgrade(engine)
        now = datetime.now(UTC)  # noqa: TID251 - a benchmark's own company
        company = build(
            engine,
            sites=given.sites,
            sensors=given.sensors,
            drums=given.drums,
            now=now,
            air_h=given.air_hours,
        )
        with engine.connect() as connection:
            connection.exec_driver_sql("ANALYZE")
            connection.commit()
        told = rounds(engine, company.sites, count=given.rounds, now=now)
    json.dump({**vars(given), "rounds": told}, sys.stdout, indent=2)
    sys.stdout.write("\n")


def rounds(
    engine: Engine, sites: Sequence[OneSite], *, count: int, now: datetime
) -> list[dict[str, Any]]:
    """Run so many rounds, five minutes apart."""
    step = timedelta(milliseconds=STEP_MS)
    told = []
    kept = KeptOutlooks()
    for number in range(count):
        at = now + number * step
        if number:
            speak(engine, sites, now=at)
        told.append(one_round(engine, kept=kept, now=at))
    return told


def speak(engine: Engine, sites: Sequence[OneSite], *, now: datetime) -> None:
    """Have every sensor say something, and every place marked for it."""
    with transaction(engine) as tx:
        send_air(tx, sites, now=now)
        marks = {place: to_ms(now) - 60_000 for site in sites for place in site.places}
        place_marks.lower(tx, from_ms=marks)


def one_round(engine: Engine, *, kept: KeptOutlooks, now: datetime) -> dict[str, Any]:
    """Compute until nothing is due, and look at the alarms."""
    clock = Clock()
    look = clock.over("outlooks", kept.look_ahead)
    with ExitStack() as ends:
        for module, name in STAGES:
            _replace(ends, module, name, clock)
        event.listen(engine, "before_cursor_execute", clock.count)
        ends.callback(event.remove, engine, "before_cursor_execute", clock.count)
        whole = clock.over("round", _until_done)
        runs = whole(engine, now, look)
    stages = {
        name: {
            "wall_s": round(took.wall_s, 2),
            "processor_s": round(took.processor_s, 2),
            "calls": took.calls,
            "statements": took.statements,
        }
        for name, took in clock.took.items()
    }
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    return {"step": step_at(now), "runs": runs, "peak_rss_mib": peak, "stages": stages}


def _until_done(engine: Engine, now: datetime, look: LookAhead) -> int:
    """Run the job as the scheduler does, until it finds nothing to do; return how often."""
    runs = 0
    while True:
        scheduler.advance(engine, now, look=look)
        runs += 1
        with reading(engine) as tx:
            waiting = due(tx, now=now)
        if not waiting.since and not waiting.marks:
            return runs


def _replace(ends: ExitStack, module: ModuleType, name: str, clock: Clock) -> None:
    before = getattr(module, name)
    setattr(module, name, clock.over(name, before))
    ends.callback(setattr, module, name, before)


if __name__ == "__main__":
    main()
