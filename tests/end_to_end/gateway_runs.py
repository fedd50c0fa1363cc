"""What the tests of a gateway with sensors share: its process, its configuration, its spool."""

import itertools
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Final

from tests.fixtures.broker import Mosquitto
from tests.fixtures.process import Process
from tests.fixtures.shed import Shed

ENDS_WITHIN_S: Final = 15.0
"""It takes one where nothing else runs."""

COMMAND = (
    sys.executable,
    "-c",
    "import sys; from drumkeep_sensors.cli import main; sys.exit(main())",
)
_NUMBERS = itertools.count()


def configuration(
    folder: Path, shed: Shed, broker: Mosquitto, *, sensors: str, more: str = "", port: int = 0
) -> Path:
    """Write the configuration of the shed's gateway."""
    file = folder / "gateway.toml"
    file.write_text(
        f"""
        [gateway]
        site = "{shed.site}"
        code = "{shed.gateway}"
        urn = "{shed.urn}"
        state = "state"
        interval_s = 0.1
        [broker]
        host = "{broker.host}"
        port = {port or broker.port}
        {more}
        [clock]
        trust = "always"
        [linux]
        sysfs = "sys"
        {sensors}
        """
    )
    return file


@contextmanager
def gateway(file: Path, *, command: str = "run") -> Iterator[Process]:
    """Run a gateway, or the simulated one, until the end of the block, and kill it there."""
    process = Process(
        [*COMMAND, command, str(file), "--verbose"],
        told=file.with_name(f"gateway-{next(_NUMBERS)}.told"),
        environment={"PYTHONWARNINGS": "error"},
    )
    process.start()
    try:
        yield process
    finally:
        process.kill()


def stop(process: Process) -> str:
    """Stop it as an operator would, and return what it had to say."""
    status = process.stop(within_s=ENDS_WITHIN_S)
    told = process.told()
    assert status == 0, told
    return told


def ask(file: Path, sql: str) -> list[tuple[float, ...]]:
    """Ask a SQLite file, without drumkeep; nothing while it is not there."""
    if not file.exists():
        return []
    with closing(sqlite3.connect(file, timeout=10)) as connection:
        try:
            return connection.execute(sql).fetchall()
        except sqlite3.OperationalError as error:
            if "no such table" in str(error):
                return []  # made just now
            raise


def kept_ever(state: Path) -> int:
    """How many readings the spool has taken since it was made, confirmed or not."""
    # AUTOINCREMENT counts here and never back (sqlite.org/autoinc.html).
    found = ask(state / "readings.db", "SELECT seq FROM sqlite_sequence WHERE name = 'reading'")
    return int(found[0][0]) if found else 0


def waiting(state: Path) -> int:
    """How many readings are not confirmed."""
    found = ask(state / "readings.db", "SELECT count(*) FROM reading")
    return int(found[0][0]) if found else 0
