"""A company's database, broker and processes on this machine, for the benchmark of scale."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import psycopg

from drumkeep.domain.roles import Role
from drumkeep.operations import tokens
from drumkeep.storage import schema
from drumkeep.storage.engine import create
from drumkeep.storage.transaction import transaction
from tests.benchmark.scale_company import Company, build
from tests.fixtures.broker import Mosquitto
from tests.fixtures.postgres import Postgres
from tests.fixtures.process import Process, wait_until

PATIENCE_S: Final = 1800.0
SLOTS: Final = 4


@dataclass
class Running:
    """Database, broker and processes of a company, all on this machine."""

    cluster: Postgres
    broker: Mosquitto
    database: str
    folder: Path
    company: Company
    secret: str
    processes: dict[str, Process] = field(default_factory=dict)

    @classmethod
    def make(
        cls,
        cluster: Postgres,
        broker: Mosquitto,
        database: str,
        folder: Path,
        *,
        sites: int,
        sensors: int,
        drums: int,
    ) -> "Running":
        """Build the company in an empty database."""
        now = datetime.now(UTC)  # noqa: TID251 - a real service
        engine = create(cluster.url(database))
        schema.upgrade(engine)
        company = build(engine, sites=sites, sensors=sensors, drums=drums, now=now)
        with transaction(engine) as tx:
            _, secret = tokens.create_token(
                tx, name="benchmark", role=Role.MANAGER, created_by=None, now=now
            )
        engine.dispose()
        made = cls(cluster, broker, database, folder, company, secret)
        made.ask("ANALYZE")
        return made

    def ask(self, sql: str) -> list[tuple[Any, ...]]:
        """Ask the database, without drumkeep."""
        where = self.cluster.url(self.database).replace("+psycopg", "")
        with psycopg.connect(where, autocommit=True) as connection:
            done = connection.execute(sql.encode())
            return done.fetchall() if done.description else []

    def number(self, sql: str) -> float:
        """Ask the database for one number."""
        return float(self.ask(sql)[0][0] or 0)

    @contextmanager
    def process(self, name: str, *arguments: str) -> Iterator[Process]:
        """Run a process of the service until the end of the block."""
        running = Process(
            [sys.executable, "-m", "drumkeep", "serve", *arguments],
            told=self.folder / f"{name}.log",
            environment={
                "DRUMKEEP_DATABASE_URL": self.cluster.url(self.database),
                "DRUMKEEP_DATA_DIR": str(self.folder / name),
                "DRUMKEEP_MQTT_URL": f"mqtt://{self.broker.host}:{self.broker.port}",
                "DRUMKEEP_INGEST_SLOTS": str(SLOTS),
                "DRUMKEEP_SECRET_KEY": "a key that is good enough for a benchmark",
            },
        )
        running.start()
        self.processes[name] = running
        try:
            yield running
        finally:
            del self.processes[name]
            running.kill()

    def wait_for_sessions(self) -> None:
        """Wait until each site's messages come by the session that is its home."""
        wanted = sum(1 for site in self.company.sites if site.slot(SLOTS))
        wait_until(
            lambda: self.number("SELECT count(*) FROM session_site WHERE NOT leaving") >= wanted,
            "the sites are shared out",
            within_s=PATIENCE_S,
        )

    def waiting(self) -> float:
        """Count who waits for the lock of writers."""
        return self.number(
            "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND NOT granted"
        )
