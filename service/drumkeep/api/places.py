"""``/places``."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response

from drumkeep.api.addresses import located
from drumkeep.api.paging import PageQuery, page_of
from drumkeep.api.schemas.places import PlaceIn, PlaceOut, PlacePatch
from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import Line, PageOf
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.roles import Action
from drumkeep.operations import places
from drumkeep.operations.sites import site_named
from drumkeep.storage import catalogue
from drumkeep.storage.tables.catalogue import Place
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/places", tags=["places"])
_CHANGE = [Depends(require(Action.CHANGE_CATALOGUE))]


class PlaceQuery(PageQuery):
    """Which places."""

    site: Line | None = None
    kind: PlaceKind | None = None


@router.get("")
def list_places(tx: ReadingDep, query: Annotated[PlaceQuery, Query()]) -> PageOf[PlaceOut]:
    """List the places, of one site or kind if asked."""
    if query.site is not None:
        site_named(tx, code=query.site)
    rows = catalogue.list_places(
        tx, site=query.site, kind=query.kind, after=query.after, limit=query.limit + 1
    )
    return page_of(rows, lambda shown: _out(tx, shown), limit=query.limit)


@router.get("/{site}/{code}")
def get_place(tx: ReadingDep, site: str, code: str) -> PlaceOut:
    """Get a place."""
    return _out(tx, [places.place_at(tx, site=site, code=code)])[0]


@router.post("", status_code=201, dependencies=_CHANGE)
def create_place(tx: TransactionDep, body: PlaceIn, response: Response) -> PlaceOut:
    """Make a place."""
    made = _out(tx, [places.create_place(tx, **body.model_dump())])[0]
    located(response, "places", made.place)
    return made


@router.patch("/{site}/{code}", dependencies=_CHANGE)
def change_place(tx: TransactionDep, site: str, code: str, body: PlacePatch) -> PlaceOut:
    """Change a place."""
    return _out(tx, [places.change_place(tx, site=site, code=code, changes=body.changes())])[0]


def _out(tx: Tx, rows: Sequence[Place]) -> list[PlaceOut]:
    references = catalogue.place_references(
        tx, ids=[row.id for row in rows] + [row.inside_id for row in rows]
    )
    return [
        PlaceOut(
            place=references[row.id],
            site=references[row.id].partition("/")[0],
            code=row.code,
            name=row.name,
            kind=row.kind,
            inside=None if row.inside_id is None else references[row.inside_id],
            motion=row.motion,
            standing=row.standing,
            wind_m_s=row.wind_m_s,
            crowding=row.crowding,
            sun=row.sun,
            absorptance=row.absorptance,
            set_point_c=row.set_point_c,
            capacity=row.capacity,
        )
        for row in rows
    ]
