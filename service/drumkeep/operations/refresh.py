"""Compute drums within the transaction of what was recorded of them, so that it shows at once."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.grid import to_ms
from drumkeep.operations.donors import with_poured_on
from drumkeep.operations.estimates import Outcome, compute, load, store
from drumkeep.operations.set_aside import by_halves, set_aside
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.transaction import Tx

AT_ONCE: Final = timedelta(days=4)
"""Half a second of one core and more; a delivery that is entered weeks late would take minutes,
and all who record anything, and the readings, would wait for it."""


def refresh_drums(tx: Tx, *, since: Mapping[int, int | None], now: datetime) -> None:
    """Compute drums.

    Drums that their liquid went into are computed with them. What was recorded stands though a
    drum cannot be computed. Those whose past changed further back than :data:`AT_ONCE` are left to
    the scheduler.
    """
    spread = with_poured_on(tx, since=since)
    far = _far_back(tx, since=spread, now=now)
    drum_rows.mark(tx, from_ms=far)
    near = {drum_id: start for drum_id, start in spread.items() if drum_id not in far}
    if not near:
        return
    outcomes: list[Outcome] = []
    failed: list[tuple[Mapping[int, int | None], Exception]] = []
    by_halves(
        near,
        do=lambda some: outcomes.append(compute(load(tx, since=some, now=now, others=spread))),
        give_up=lambda one, error: failed.append((one, error)),
        what="drums",
    )
    for outcome in outcomes:
        store(tx, outcome=outcome)
    for one, error in failed:
        set_aside(tx, since=one, error=error, now=now)


def _far_back(tx: Tx, *, since: Mapping[int, int | None], now: datetime) -> dict[int, int]:
    """Return those whose computing would keep all other writers waiting, and from when it is due.

    With them go those that liquid of them was poured into.
    """
    limit = to_ms(now - AT_ONCE)
    early = {one: start for one, start in since.items() if start is not None and start < limit}
    if not early:  # nearly always
        return {}
    log = drum_rows.events_of(tx, drum_ids=list(early))
    far = {one: start for one, start in early.items() if to_ms(log[one][0].at) < limit}
    reached = with_poured_on(tx, since=far)
    return {one: start for one, start in since.items() if start is not None and one in reached}
