"""Which drums are computed together, because liquid of one was poured into another."""

from collections import defaultdict
from collections.abc import Iterable, Mapping

from drumkeep.domain.grid import STEP_MS, from_ms, step_at, to_ms
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import estimates as estimate_rows
from drumkeep.storage.transaction import Tx


def with_poured_on(tx: Tx, *, since: Mapping[int, int | None]) -> dict[int, int | None]:
    """Add to drums whose past changed those that liquid of them went into, from when it did."""
    spread = dict(since)
    ahead = [drum_id for drum_id, changed in since.items() if changed is not None]
    if not ahead:
        return spread
    earliest = min(changed for changed in since.values() if changed is not None)
    into = defaultdict(list)  # pours are few and drums many: all of them, looked through here
    for pour in drum_rows.pours_since(tx, since=from_ms(earliest - earliest % STEP_MS)):
        into[pour.donor_id].append((pour.drum_id, to_ms(pour.at)))
    while ahead:
        donor = ahead.pop()
        changed = spread[donor] or 0
        for receiver, poured in into[donor]:
            before = spread.get(receiver)
            if poured // STEP_MS >= changed // STEP_MS and (before is None or poured < before):
                spread[receiver] = poured
                ahead.append(receiver)
    return spread


def with_donors(
    tx: Tx, *, changes: Mapping[int, int | None], due: Iterable[int], step: int
) -> dict[int, tuple[int, bytes] | None]:
    """Return the checkpoint that each drum starts from, and each drum that was poured into one.

    A donor starts early enough to be there when it is poured; None starts from the receipt.
    """

    def bound_of(drum_id: int, *, at_most: int) -> int:
        changed = changes.get(drum_id)
        return at_most if changed is None else min(at_most, (changed - 1) // STEP_MS)

    bounds = {drum_id: bound_of(drum_id, at_most=step) for drum_id in due}
    found = dict(bounds.items())
    starts: dict[int, tuple[int, bytes] | None] = {}
    while found:
        checkpoints = estimate_rows.latest_checkpoints(tx, bounds=found)
        starts |= {drum_id: checkpoints.get(drum_id) for drum_id in found}
        found = {}
        for pour in drum_rows.pours_into(tx, drum_ids=list(starts)):
            start, poured = starts[pour.drum_id], step_at(pour.at)
            if start is not None and poured < start[0]:
                continue
            bound = bound_of(pour.donor_id, at_most=min(poured, step))
            if pour.donor_id not in bounds or bound < bounds[pour.donor_id]:
                bounds[pour.donor_id] = found[pour.donor_id] = bound
    return starts
