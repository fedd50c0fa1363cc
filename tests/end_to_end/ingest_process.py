"""Ingest as a process of its own, to be killed: ``python ingest_process.py DATABASE_URL PORT``."""

import signal
import sys
import threading
from datetime import UTC, datetime

from drumkeep.ingest.intake import Intake
from drumkeep.ingest.subscriber import Broker
from drumkeep.storage.engine import create


def main() -> None:
    url, port = sys.argv[1], int(sys.argv[2])
    ended = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: ended.set())
    intake = Intake(
        engine=create(url),
        broker=Broker(host="127.0.0.1", port=port, client_id="drumkeep-ingest"),
        clock=lambda: datetime.now(UTC),  # noqa: TID251 - the edge
    )
    intake.start()
    ended.wait()
    intake.stop()


if __name__ == "__main__":
    main()
