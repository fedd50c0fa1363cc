"""Queries on what was computed of drums."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

from sqlalchemy import Row, func
from sqlalchemy import select as select_rows
from sqlmodel import col, delete, select

from drumkeep.storage.bulk import insert
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.estimates import Checkpoint, Estimate
from drumkeep.storage.transaction import Tx
from drumkeep.storage.upsert import upsert

_AT_ONCE: Final = 500

_Item = TypeVar("_Item")


def estimate_of(tx: Tx, *, drum_id: int) -> Estimate | None:
    """Return the state of a drum as last computed."""
    return tx.session.get(Estimate, drum_id)


def estimates_of(tx: Tx, *, drum_ids: Sequence[int]) -> dict[int, Estimate]:
    """Return the states of drums by drum id."""
    rows = tx.session.exec(select(Estimate).where(col(Estimate.drum_id).in_(drum_ids))).all()
    return {row.drum_id: row for row in rows}


@dataclass(frozen=True)
class LotMark:
    """Cold that drums of a lot went through: coldest °C, most hours of one, and how many drums."""

    min_c: float
    hours: float
    drums: int


def cold_lots(tx: Tx, *, lot_ids: Sequence[int]) -> dict[int, LotMark]:
    """Return the mark of each lot of which any drum was cold, gone drums too, by lot id."""
    rows = tx.session.execute(
        select_rows(
            col(Drum.lot_id),
            func.min(Estimate.was_cold_c),
            func.max(Estimate.was_cold_hours),
            func.count(),
        )
        .join(Drum, col(Drum.id) == col(Estimate.drum_id))
        .where(col(Drum.lot_id).in_(lot_ids), col(Estimate.was_cold_c).is_not(None))
        .group_by(col(Drum.lot_id))
    )
    return {lot: LotMark(min_c=c, hours=hours, drums=n) for lot, c, hours, n in rows}


def put(tx: Tx, *, estimates: Sequence[Estimate]) -> None:
    """Store states, each in place of the one before."""
    upsert(tx, Estimate, [estimate.model_dump() for estimate in estimates])


def latest_checkpoints(tx: Tx, *, bounds: Mapping[int, int]) -> dict[int, tuple[int, bytes]]:
    """Return (step, record) of each drum's newest checkpoint at or before its own bound.

    Parameters
    ----------
    bounds
        Grid step by drum id; drums without a checkpoint that early have no entry.
    """
    found: dict[int, tuple[int, bytes]] = {}
    by_bound: dict[int, list[int]] = {}
    for drum_id, bound in bounds.items():
        by_bound.setdefault(bound, []).append(drum_id)
    for bound, drum_ids in by_bound.items():
        for some in _portions(drum_ids):
            newest = (
                select(col(Checkpoint.drum_id), func.max(Checkpoint.step).label("step"))
                .where(col(Checkpoint.drum_id).in_(some), col(Checkpoint.step) <= bound)
                .group_by(col(Checkpoint.drum_id))
                .subquery()
            )
            rows = tx.session.exec(
                select(Checkpoint).join(
                    newest,
                    (col(Checkpoint.drum_id) == newest.c.drum_id)
                    & (col(Checkpoint.step) == newest.c.step),
                )
            ).all()
            found |= {row.drum_id: (row.step, row.state) for row in rows}
    return found


def checkpoints_between(
    tx: Tx, *, drum_id: int, first: int, last: int
) -> Sequence[Row[tuple[int, bytes]]]:
    """Return ``step`` and ``state`` of a drum's checkpoints from ``first`` to ``last``, in order.

    Plain rows: of a long past there are thousands.
    """
    return tx.session.execute(
        select_rows(col(Checkpoint.step), col(Checkpoint.state))
        .where(col(Checkpoint.drum_id) == drum_id, col(Checkpoint.step).between(first, last))
        .order_by(col(Checkpoint.step))
    ).all()


def replace_checkpoints(
    tx: Tx, *, after: Mapping[int, int], rows: Sequence[tuple[int, int, bytes]]
) -> None:
    """Drop each drum's checkpoints after a step and store new ones.

    Parameters
    ----------
    after
        Step by drum id; what lies beyond it was computed from a past that no longer holds.
    rows
        (drum id, step, record).
    """
    by_step: dict[int, list[int]] = {}
    for drum_id, step in after.items():
        by_step.setdefault(step, []).append(drum_id)
    for step, drum_ids in by_step.items():
        for some in _portions(drum_ids):
            tx.session.exec(
                delete(Checkpoint).where(
                    col(Checkpoint.drum_id).in_(some), col(Checkpoint.step) > step
                )
            )
    new = [row for row in rows if row[1] > after[row[0]]]
    insert(tx, into="checkpoint (drum_id, step, state)", types=("int4", "int4", "bytea"), rows=new)


def thin(tx: Tx, *, before: int, keep_every: int) -> int:
    """Drop old checkpoints but one in ``keep_every`` steps; returns how many went."""
    gone = tx.session.exec(
        delete(Checkpoint).where(
            col(Checkpoint.step) < before, col(Checkpoint.step) % keep_every != 0
        )
    )
    return gone.rowcount


def _portions(items: Sequence[_Item]) -> list[Sequence[_Item]]:
    return [items[i : i + _AT_ONCE] for i in range(0, len(items), _AT_ONCE)]
