"""``/places/{site}/{code}/film``: what was learned or pinned of a place's film."""

from typing import Annotated

from fastapi import APIRouter, Depends

from drumkeep.api.schemas.places import FilmIn, FilmOut, PlaceFilmOut
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import Now, ReadingDep, TransactionDep, require
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.film import NAMED_FILM
from drumkeep.domain.roles import Action
from drumkeep.errors import Fault, Invalid
from drumkeep.operations import place_films, places
from drumkeep.storage import place_films as rows
from drumkeep.storage.tables.place_films import PlaceFilm
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/places", tags=["places"])

ManagerDep = Annotated[Caller, Depends(require(Action.CHANGE_CATALOGUE))]


@router.get("/{site}/{code}/film")
def get_film(tx: ReadingDep, site: str, code: str) -> PlaceFilmOut:
    """Get a place's film, and where it comes from."""
    return _answer(tx, site=site, code=code)


@router.put("/{site}/{code}/film")
def put_film(  # noqa: PLR0917 - the framework passes them by name
    tx: TransactionDep, site: str, code: str, body: FilmIn, caller: ManagerDep, now: Now
) -> PlaceFilmOut:
    """Pin a place's film, or reset it so that learning begins anew; from the next step on."""
    place = places.place_at(tx, site=site, code=code)
    by = by_caller(caller).name
    if body.reset == (body.factor is not None):
        mend = 'Send {"factor": 1.2} to pin it, or {"reset": true} to forget what was learned.'
        raise Invalid(
            "Say one of the two.", [Fault("factor", body.factor, "and reset go not together", mend)]
        )
    if body.factor is None:
        place_films.reset(tx, place=place, by=by, now=now)
    else:
        place_films.pin(
            tx, place=place, factor=body.factor, half_range=body.half_range, by=by, now=now
        )
    return _answer(tx, site=site, code=code)


def _answer(tx: Tx, *, site: str, code: str) -> PlaceFilmOut:
    place = places.place_at(tx, site=site, code=code)
    said = rows.films_of(tx, place_id=place.id)
    # what was just said counts from the next step on, and is answered as it will be
    return PlaceFilmOut(
        place=f"{site}/{code}",
        now=_film_out(said[-1]) if said else _named(),
        history=[_film_out(row) for row in reversed(said)],
    )


def _named() -> FilmOut:
    return FilmOut(
        factor=NAMED_FILM.factor,
        half_range=NAMED_FILM.half_range,
        dips=0,
        source="named",
        since=None,
        by=None,
        recorded_at=None,
    )


def _film_out(row: PlaceFilm) -> FilmOut:
    return FilmOut(
        factor=row.factor,
        half_range=row.half_range,
        dips=row.dips,
        source=row.source,
        since=row.since,
        by=row.by,
        recorded_at=row.recorded_at,
    )
