"""How ingest does against its limits; JSON on standard output.

    python -m tests.benchmark.ingest [--rounds 3] [--messages 20000] [--store both]
    python -m tests.benchmark.ingest --soak 30    # minutes

In one run, with a real Mosquitto on the loopback and durable stores of its own:

* a backlog drained by the bare client (paho, acknowledged from another thread) and by the service's
  own ingest, one and ten readings a message; raw inserts; decoding; all in turns;
* from publishing to the commit, p50 and p99, at half the load that was just measured and at 2,000
  messages a second, there also with every commit held up as by a slower disk; in commits of the
  same run;
* from the commit until the drums are computed;
* with ``--soak`` only this: the size of the service, each minute.

Stores in memory are refused: set TMPDIR to a folder on a disk. After each backlog the rows are
counted and what every gateway was told is compared with what it sent.
"""

import argparse
import json
import os
import sys
import tempfile
from pathlib import Path
from typing import Any, Final

from tests.benchmark.ingest_disk import IN_MEMORY
from tests.benchmark.ingest_latency import latency, refresh
from tests.benchmark.ingest_rates import rates
from tests.benchmark.ingest_setup import STORES, Bench, bench
from tests.benchmark.ingest_soak import soak

STEADY_PER_S: Final = 2000.0
STEADY_S: Final = 10.0
SLOW_MS: Final = 4.0
"""A commit took so long where the promise was made."""
REFRESH_S: Final = 60.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--messages", type=int, default=20_000, help="of ten readings")
    parser.add_argument("--store", choices=(*STORES, "both"), default="both")
    parser.add_argument("--soak", type=int, metavar="MINUTES", help="only this")
    given = parser.parse_args()
    stores = ("sqlite",) if given.soak else STORES if given.store == "both" else (given.store,)
    with tempfile.TemporaryDirectory() as folder, bench(Path(folder), stores=stores) as made:
        if given.soak:
            found = soak(made, minutes=given.soak)
        else:
            found = _all(made, rounds=given.rounds, messages=given.messages)
    json.dump(found, sys.stdout, indent=2)
    sys.stdout.write("\n")


def _all(made: Bench, *, rounds: int, messages: int) -> dict[str, Any]:
    before = os.getloadavg()[0]
    disks = made.disks()
    if any(disk["file_system"] in IN_MEMORY for disk in disks.values()):
        sys.exit(f"The stores lie in memory ({disks}): set TMPDIR to a folder on a disk.")
    found = rates(made, rounds=rounds, messages=messages)
    steady = []
    for store in made.stores:
        half = found["per_s"][f"{store}, 1"] / 2
        steady += [
            latency(made, store, per_s=per_s, seconds=STEADY_S, flush_ms=flush_ms)
            for per_s, flush_ms in ((half, 0.0), (STEADY_PER_S, 0.0), (STEADY_PER_S, SLOW_MS))
        ]
    return {
        "disks": disks,
        **found,
        "publish_to_commit": steady,
        "commit_to_computed": [refresh(made, store, seconds=REFRESH_S) for store in made.stores],
        "load_before_and_after": [round(before, 1), round(os.getloadavg()[0], 1)],
    }


if __name__ == "__main__":
    main()
