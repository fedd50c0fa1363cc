"""Readings of sensors that nobody has registered; bounded tables."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlalchemy import delete, func
from sqlmodel import col, select

from drumkeep.storage.bulk import insert
from drumkeep.storage.tables.strays import Stray, stray_reading
from drumkeep.storage.transaction import Tx

MOST_NAMES: Final = 1000
"""Further names are not kept: whoever sends made-up ones cannot fill the disk."""

MOST_READINGS: Final = 30_000
"""Per name; the oldest go first. A month at one in 90 s, 104 days at one in 5 minutes."""

ALL_READINGS: Final = 3_000_000
"""Of all names together, shared evenly where there are more than a hundred: some 150 MB."""

TRIM_EVERY: Final = 500
"""Readings by which a name may exceed its bound: to look at each batch would take too long."""


@dataclass(frozen=True, slots=True)
class StraySeries:
    """The kept readings of one name in short: how many, and the newest; epoch ms."""

    kept: int
    first_ms: int
    last_ms: int
    last_value: float


def list_strays(tx: Tx) -> Sequence[Stray]:
    """Return every stray, the one heard last first."""
    return tx.session.exec(
        select(Stray).order_by(col(Stray.last_heard_at).desc(), col(Stray.name))
    ).all()


def stray(tx: Tx, *, stray_id: int) -> Stray | None:
    """Return a stray."""
    return tx.session.get(Stray, stray_id)


def by_name(tx: Tx, *, names: Collection[str]) -> dict[str, Stray]:
    """Return the strays of these names."""
    rows = tx.session.exec(select(Stray).where(col(Stray.name).in_(sorted(names)))).all()
    return {row.name: row for row in rows}


def count(tx: Tx) -> int:
    """Count the strays."""
    return tx.session.exec(select(func.count()).select_from(Stray)).one()


def add(tx: Tx, *, rows: Sequence[Stray]) -> None:
    """Store new strays and give them their ids."""
    tx.session.add_all(rows)
    tx.session.flush()


def most_readings(*, names: int) -> int:
    """Return how many readings each of so many names may have."""
    return min(MOST_READINGS, ALL_READINGS // max(names, 1))


def keep(tx: Tx, *, rows: Sequence[tuple[int, int, float]]) -> None:
    """Keep readings by stray id, epoch ms and value."""
    insert(
        tx,
        into="stray_reading (stray_id, ts, value)",
        types=("int4", "int8", "float8"),
        rows=sorted(rows),
        on_conflict="DO NOTHING",
    )


def trim(tx: Tx, *, stray_ids: Collection[int], most: int) -> None:
    """Let the oldest readings of these go, but for so many of each."""
    kept = stray_reading.c
    for stray_id in stray_ids:
        beyond = tx.session.execute(
            select(kept.ts)
            .where(kept.stray_id == stray_id)
            .order_by(kept.ts.desc())
            .offset(most)
            .limit(1)
        ).scalar_one_or_none()
        if beyond is not None:
            tx.session.execute(
                delete(stray_reading).where(kept.stray_id == stray_id, kept.ts <= beyond)
            )


def with_more(tx: Tx, *, than: int) -> Sequence[int]:
    """Return the strays that have more readings than so many."""
    kept = stray_reading.c
    statement = select(kept.stray_id).group_by(kept.stray_id).having(func.count() > than)
    return tx.session.execute(statement).scalars().all()


def forget_silent(tx: Tx, *, before: datetime, most: int | None = None) -> int:
    """Forget strays not heard since a time, those silent longest first; return how many."""
    silent = tx.session.exec(
        select(Stray.id)
        .where(col(Stray.last_heard_at) < before)
        .order_by(col(Stray.last_heard_at), col(Stray.id))
        .limit(most)
    ).all()
    tx.session.execute(delete(stray_reading).where(stray_reading.c.stray_id.in_(silent)))
    tx.session.execute(delete(Stray).where(col(Stray.id).in_(silent)))
    return len(silent)


def series_of(tx: Tx, *, stray_ids: Sequence[int]) -> dict[int, StraySeries]:
    """Return the kept readings of strays in short, by stray id."""
    kept = stray_reading.c
    spans = tx.session.execute(
        select(kept.stray_id, func.count(), func.min(kept.ts), func.max(kept.ts))
        .where(kept.stray_id.in_(stray_ids))
        .group_by(kept.stray_id)
    ).all()
    newest = (
        select(kept.stray_id, func.max(kept.ts).label("ts"))
        .where(kept.stray_id.in_(stray_ids))
        .group_by(kept.stray_id)
        .subquery()
    )
    last = tx.session.execute(
        select(kept.stray_id, kept.value).join(
            newest, (newest.c.stray_id == kept.stray_id) & (newest.c.ts == kept.ts)
        )
    )
    values = {row.stray_id: row.value for row in last}
    return {
        stray_id: StraySeries(number, first, last, values[stray_id])
        for stray_id, number, first, last in spans
    }


def readings_of(tx: Tx, *, stray_id: int) -> list[tuple[int, float]]:
    """Return the kept readings of a stray, oldest first."""
    kept = stray_reading.c
    rows = tx.session.execute(
        select(kept.ts, kept.value).where(kept.stray_id == stray_id).order_by(kept.ts)
    )
    return [(ts, value) for ts, value in rows.all()]


def forget(tx: Tx, *, row: Stray) -> None:
    """Let a stray and its readings go."""
    tx.session.execute(delete(stray_reading).where(stray_reading.c.stray_id == row.id))
    tx.session.delete(row)
    tx.session.flush()
