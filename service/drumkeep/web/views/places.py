"""Films of a place in words."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from drumkeep.domain.film import NAMED_FILM, FilmSource
from drumkeep.storage.tables.place_films import PlaceFilm

_LIKE_NAMED: Final = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceView:
    """A place by name; ``code`` with its site's, as addresses have it."""

    place: str
    code: str
    kind_words: str
    site: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmView:
    """A place's film from a time on: a factor of the named one with its range, and why."""

    factor: float
    low: float
    high: float
    words: str
    since: datetime | None = None
    by: str | None = None


def film_views(rows: Sequence[PlaceFilm]) -> tuple[FilmView, ...]:
    """Return what was said of a place's film, newest first, and last the named one."""
    named = FilmView(
        factor=NAMED_FILM.factor,
        low=1.0 / NAMED_FILM.half_range,
        high=NAMED_FILM.half_range,
        words="As named by how the air moves here and what drums stand on; no dip has told more.",
    )
    views = [
        FilmView(
            factor=row.factor,
            low=row.factor / row.half_range,
            high=row.factor * row.half_range,
            words=_words(row),
            since=row.since,
            by=row.by,
        )
        for row in reversed(rows)
    ]
    return (*views, named)


def _words(row: PlaceFilm) -> str:
    match FilmSource(row.source):
        case FilmSource.LEARNED:
            dips = "1 dip" if row.dips == 1 else f"{row.dips} dips"
            return f"Learned from {dips}: drums here {_quicker(row.factor)}."
        case FilmSource.PINNED:
            return "Pinned; dips do not change it."
        case FilmSource.RESET:
            return "Reset: what was learned is forgotten, and learning begins anew."


def _quicker(factor: float) -> str:
    if abs(factor - 1.0) < _LIKE_NAMED:
        return "warm and cool as the named film says"
    return f"warm and cool {'faster' if factor > 1.0 else 'slower'} than the named film says"
