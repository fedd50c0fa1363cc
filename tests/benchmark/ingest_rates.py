"""How many messages a second, against what the client, the database and decoding could do."""

import statistics
import time
from collections import defaultdict
from collections.abc import Sequence
from typing import Any, Final

from drumkeep_wire.senml import decode_pack
from tests.benchmark.ingest_load import Message, packs
from tests.benchmark.ingest_raw import rows_per_s
from tests.benchmark.ingest_setup import CLIENTS, Bench

RECORDS: Final = (1, 10)
GOALS: Final = {1: 0.7, 10: 0.55}
"""Pipeline to client, by records a message."""

GATES: Final = {1: 0.45, 10: 0.35}
"""Below which continuous integration fails."""

_AGO_S: Final = 5 * 86_400


def rates(bench: Bench, *, rounds: int, messages: int) -> dict[str, Any]:
    """Measure everything in turns, so many times; return medians, and medians of ratios.

    Parameters
    ----------
    messages
        Of ten records; of one there are twice as many.
    """
    rate: dict[str, list[float]] = defaultdict(list)
    ratio: dict[str, list[float]] = defaultdict(list)
    cpu_us: dict[str, list[float]] = defaultdict(list)
    for _ in range(rounds):
        for records in RECORDS:
            count = messages * (2 if records == 1 else 1)
            sent = backlog(count, records=records)
            per_s = {}
            for side in [*CLIENTS, *bench.stores]:
                result = bench.drain(side, sent, readings=count * records)
                per_s[side] = count / result["seconds"]
                rate[f"{side}, {records}"].append(per_s[side])
                cpu_us[f"{side}, {records}"].append(1e6 * result["cpu_s"] / count)
            for store in bench.stores:
                for client in CLIENTS:
                    ratio[f"{store} to {client}, {records}"].append(per_s[store] / per_s[client])
            rate[f"decoding, {records}"].append(_decoding(sent))
        for store in bench.stores:
            with bench.database(store) as url:
                rate[f"raw rows, {store}"].append(rows_per_s(url, rows=10 * messages))
    return {
        "rounds": rounds,
        "messages": {1: 2 * messages, 10: messages},
        "per_s": {what: round(statistics.median(some)) for what, some in rate.items()},
        "cpu_us_a_message": {
            what: round(statistics.median(some), 1) for what, some in cpu_us.items()
        },
        "ratios": {
            what: {"median": round(statistics.median(some), 3), "all": [round(r, 3) for r in some]}
            for what, some in ratio.items()
        },
        "goals": GOALS,
    }


def backlog(count: int, *, records: int) -> list[Message]:
    """Return so many packs of a few days ago."""
    since = int(time.time()) - _AGO_S  # noqa: TID251 - readings must be recent to be taken
    return list(packs(count, records=records, since_s=since))


def _decoding(messages: Sequence[Message]) -> float:
    begun = time.perf_counter()
    for _, payload in messages:
        decode_pack(payload, received_at=0.0)
    return len(messages) / (time.perf_counter() - begun)
