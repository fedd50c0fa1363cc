"""Plans and times of the board's and the chart's queries beside many readings; JSON.

    python -m tests.benchmark.storage [--readings 20000000] [--drums 500] [--url postgresql://…]

Makes a PostgreSQL of its own, unless it is given an empty database, fills it with the readings of
200 sensors a minute each, made by the server itself, 40 of them those of a company with drums; then
makes the figures of the hours, and asks what the floor, its table and a chart ask. Every statement
that such a question sends is explained with what it really did (ANALYZE): the answer names each
plan's scans of readings, and whether any read a partition from end to end.
"""

import argparse
import json
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from sqlalchemy import Connection, event

from drumkeep.domain.grid import step_at, to_ms
from drumkeep.domain.roles import Role
from drumkeep.operations import drums, history
from drumkeep.operations.ground import read_ground
from drumkeep.operations.shelf_air import PAST_STEPS
from drumkeep.operations.surroundings import read_places
from drumkeep.storage import partitions, schema
from drumkeep.storage import readings as reading_rows
from drumkeep.storage.drums import list_drums
from drumkeep.storage.engine import Engine, create
from drumkeep.storage.partitions import Month
from drumkeep.storage.readings import hour_of
from drumkeep.storage.transaction import Tx, reading, transaction
from drumkeep.web.formats import Formats
from drumkeep.web.views.floor import Sift, floor_view
from tests.benchmark.company import DAYS, KINDS, SITES, build
from tests.fixtures.postgres import running_postgres

SENSORS: Final = 200
_MINUTE_MS: Final = 60_000
_RUNS: Final = 5


@dataclass
class Question:
    """What one question took, and how readings were looked up for it."""

    question: str
    seconds: float
    statements: int
    readings_scanned_by: dict[str, int] = field(default_factory=dict)
    sequential_scans_of_readings: int = 0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--readings", type=int, default=20_000_000)
    parser.add_argument("--drums", type=int, default=500)
    parser.add_argument("--url", help="an empty PostgreSQL database; by default one is made")
    given = parser.parse_args()
    with ExitStack() as ends:
        url = given.url
        if url is None:
            cluster = ends.enter_context(running_postgres())
            url = cluster.url(ends.enter_context(cluster.database()))
        engine = create(url)
        ends.callback(engine.dispose)
        schema.upgrade(engine)
        now = datetime.now(UTC)  # noqa: TID251 - a benchmark's own company
        tags = build(engine, drums=given.drums, now=now)
        took = fill(engine, readings=given.readings, now=now)
        found = [ask(engine, name, call) for name, call in questions(tags[0], now=now).items()]
    answer = {"readings": given.readings, **took, "questions": [asdict(one) for one in found]}
    json.dump(answer, sys.stdout, indent=2)
    sys.stdout.write("\n")


def fill(engine: Engine, *, readings: int, now: datetime) -> dict[str, float]:
    """Store so many readings that end at the present, and the figures of their hours."""
    last = to_ms(now) // _MINUTE_MS
    minutes = -(-readings // SENSORS)
    first = last - minutes + 1
    hung = SITES * len(KINDS)
    hours = range(hour_of(first * _MINUTE_MS), hour_of(last * _MINUTE_MS) + 1)
    with transaction(engine) as tx:
        partitions.ensure(tx, months={Month.of_hour(hour) for hour in hours})
    begun = time.perf_counter()
    with _unbounded(engine) as connection:
        connection.exec_driver_sql(
            "INSERT INTO reading (hour, sensor_id, ts, value) "  # noqa: S608 - numbers of ours
            "SELECT minute / 60, sensor, minute * 60000::bigint, "
            "10 + 8 * sin(minute / 229.2) + sensor %% 7 + 0.1 * (minute %% 5) "
            f"FROM generate_series({first}, {last}) AS minute, "
            f"generate_series(1, {SENSORS}) AS sensor "
            # the company's own sensors told of the last days already
            f"WHERE sensor > {hung} OR minute < {last - DAYS * 24 * 60}"
        )
        connection.exec_driver_sql(f"UPDATE latest SET first_ts = {first * _MINUTE_MS}")  # noqa: S608
    stored = time.perf_counter()
    with _unbounded(engine) as connection:
        # as the job makes them, in one statement instead of one an hour
        connection.exec_driver_sql(
            "INSERT INTO rollup_1h (hour, sensor_id, n, low, high, total) "  # noqa: S608
            "SELECT hour, sensor_id, count(*), min(value), max(value), sum(value) FROM reading "
            f"WHERE hour < {hours[-1]} GROUP BY hour, sensor_id ON CONFLICT DO NOTHING"
        )
        connection.exec_driver_sql("DELETE FROM rollup_dirty")
    with engine.connect() as connection:
        connection.exec_driver_sql("ANALYZE")
        connection.commit()
    return {
        "load_s": round(stored - begun, 1),
        "rows_per_s": round(readings / (stored - begun)),
        "figures_s": round(time.perf_counter() - stored, 1),
    }


@contextmanager
def _unbounded(engine: Engine) -> Iterator[Connection]:
    with engine.connect() as connection:
        connection.exec_driver_sql("SET statement_timeout = 0")
        connection.commit()
        yield connection
        connection.commit()
        connection.exec_driver_sql("RESET statement_timeout")
        connection.commit()


def questions(tag: str, *, now: datetime) -> Mapping[str, Callable[[Tx], object]]:
    formats = Formats(units="us", timezone=UTC, now=now)

    def floor(tx: Tx, *, drawn: bool = True) -> object:
        return floor_view(tx, sift=Sift(), formats=formats, role=Role.MANAGER, now=now, drawn=drawn)

    def chart(tx: Tx, *, days: float) -> object:
        drum = drums.drum_tagged(tx, tag=tag)
        return history.past_of(tx, drum=drum, start=now - timedelta(days=days), end=now)

    def air(tx: Tx) -> object:
        """Read the last day of all places anew, as is done where nobody made it lately."""
        ground = read_ground(tx)
        step = step_at(now)
        return read_places(
            tx, ground=ground, place_ids=ground.places, first=step - PAST_STEPS, last=step
        )

    return {
        "floor": floor,
        "floor as a table": lambda tx: (floor(tx, drawn=False), list_drums(tx, limit=200)),
        "air of all places": air,
        "chart of 5 days": lambda tx: chart(tx, days=5.0),
        "chart of 14 days": lambda tx: chart(tx, days=14.0),
        "chart of 60 days, by the hour": lambda tx: chart(tx, days=60.0),
        "14 days of a sensor read each minute": _minutes_of(now, days=14.0),
    }


def _minutes_of(now: datetime, *, days: float) -> Callable[[Tx], object]:
    end = to_ms(now)
    return lambda tx: reading_rows.series(
        tx, sensor_ids=[SENSORS], from_ms=end - round(days * 86_400_000), to_ms=end
    )


def ask(engine: Engine, name: str, call: Callable[[Tx], object]) -> Question:
    """Ask a question: its time first, then the plans of all it sent."""
    sent: list[tuple[str, Any]] = []

    def note(_c: object, _cursor: object, sql: str, values: Any, *_more: object) -> None:
        if sql.lstrip().upper().startswith(("SELECT", "WITH")):
            sent.append((sql, values))

    took = []
    for _ in range(_RUNS):
        with reading(engine) as tx:
            begun = time.perf_counter()
            call(tx)
            took.append(time.perf_counter() - begun)
    event.listen(engine, "before_cursor_execute", note)
    with reading(engine) as tx:
        call(tx)
    event.remove(engine, "before_cursor_execute", note)
    found = Question(name, seconds=round(sorted(took)[_RUNS // 2], 4), statements=len(sent))
    with engine.connect() as connection:
        for sql, values in sent:
            explained = "EXPLAIN (ANALYZE, FORMAT JSON) " + sql
            ((plan,),) = connection.exec_driver_sql(explained, values).all()
            for node in _nodes(plan[0]["Plan"]):
                table = str(node.get("Relation Name", ""))
                if table.startswith("reading"):
                    kind = node["Node Type"]
                    found.readings_scanned_by[kind] = found.readings_scanned_by.get(kind, 0) + 1
                    found.sequential_scans_of_readings += kind == "Seq Scan"
    return found


def _nodes(plan: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield plan
    for inner in plan.get("Plans", ()):
        yield from _nodes(inner)


if __name__ == "__main__":
    main()
