"""Queries on what was learned or pinned of the films of places."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import col, select

from drumkeep.domain.film import FilmInForce
from drumkeep.domain.grid import step_at
from drumkeep.storage.tables.place_films import PlaceFilm
from drumkeep.storage.transaction import Tx


def films_of(tx: Tx, *, place_id: int) -> Sequence[PlaceFilm]:
    """Return what was ever said of a place's film, oldest first."""
    return tx.session.exec(
        select(PlaceFilm)
        .where(PlaceFilm.place_id == place_id)
        .order_by(col(PlaceFilm.since), col(PlaceFilm.id))
    ).all()


def course_of(rows: Sequence[PlaceFilm]) -> tuple[FilmInForce, ...]:
    """Return stored rows in the domain's form; of one step the last said holds."""
    by_step = {
        step_at(row.since): FilmInForce(
            step=step_at(row.since), factor=row.factor, half_range=row.half_range
        )
        for row in rows
    }
    return tuple(by_step.values())


def film_on(rows: Sequence[PlaceFilm], *, at: datetime) -> PlaceFilm | None:
    """Return the row in force at a time."""
    return next((row for row in reversed(rows) if row.since <= at), None)
