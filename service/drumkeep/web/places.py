"""A place's page: where it is, how drums stand there, what its film is taken for, and why."""

from collections.abc import Mapping
from typing import Annotated, Final

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.checks import Checks
from drumkeep.domain.film import LEAST_FACTOR, MOST_FACTOR, FilmSource
from drumkeep.domain.roles import Action, may
from drumkeep.errors import Fault, Invalid
from drumkeep.operations import place_films, places
from drumkeep.storage import catalogue
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import place_films as rows
from drumkeep.web.drums import posted
from drumkeep.web.form_faults import labelled
from drumkeep.web.forms import number_of
from drumkeep.web.shell import ShellDep, see
from drumkeep.web.views.places import MPH_M_S, PlaceView, film_views, setting_view
from drumkeep.web.wording import PLACE_KIND

router = APIRouter()


@router.get("/places/{site}/{code}")
def place_page(tx: ReadingDep, shell: ShellDep, site: str, code: str) -> HTMLResponse:
    """Show a place and what its drums' dips have taught of its film."""
    place = places.place_at(tx, site=site, code=code)
    at = catalogue.sites_by_id(tx, ids=[place.site_id])[place.site_id]
    said = rows.films_of(tx, place_id=place.id)
    return shell.answer(
        "place.html",
        tx=tx,
        page="place",
        formats=shell.formats.at(at.timezone),
        place=PlaceView(
            place=place.name,
            code=f"{at.code}/{place.code}",
            kind_words=PLACE_KIND[place.kind],
            site=at.name,
            drums=drum_rows.count_in(tx, place_id=place.id),
            capacity=place.capacity,
        ),
        setting=setting_view(place, formats=shell.formats),
        films=film_views(said),
        pinned=bool(said) and said[-1].source == FilmSource.PINNED,
        may_change=may(shell.caller.role, Action.CHANGE_CATALOGUE),
        may_move=may(shell.caller.role, Action.RECORD),
    )


@router.post("/places/{site}/{code}/setting")
def set_setting(
    tx: TransactionDep,
    shell: ShellDep,
    site: str,
    code: str,
    form: Annotated[dict[str, str], Depends(posted)],
) -> Response:
    """Say how drums stand in a place; its drums are computed anew from the beginning."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    with labelled(_LABEL):
        places.change_place(tx, site=site, code=code, changes=_changes(form))
    return see(f"/places/{site}/{code}#setting")


@router.post("/places/{site}/{code}/capacity")
def set_capacity(
    tx: TransactionDep,
    shell: ShellDep,
    site: str,
    code: str,
    form: Annotated[dict[str, str], Depends(posted)],
) -> Response:
    """Say how many drums fit in a place; empty: nobody says."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    most = number_of(form, "capacity") if form.get("capacity", "").strip() else None
    if most is not None and not most.is_integer():
        mend = "Write a whole number of drums, or leave it empty."
        fault = Fault(_LABEL["capacity"], form["capacity"], "is no whole number", mend)
        raise Invalid("That is no number of drums.", [fault])
    with labelled(_LABEL):
        places.change_place(
            tx,
            site=site,
            code=code,
            changes={"capacity": None if most is None else int(most)},
        )
    return see(f"/places/{site}/{code}#drums")


_LABEL: Final = {
    "capacity": "How many drums fit",
    "motion": "The air is",
    "wind_m_s": "Wind at the drums",
    "standing": "Drums stand on",
    "crowding": "And stand",
    "sun": "In the sun",
    "absorptance": "Their paint takes up",
}


def _changes(form: Mapping[str, str]) -> places.PlaceChanges:
    wind = number_of(form, "wind") if form.get("wind", "").strip() else None
    if wind is not None and form.get("units") == "us":
        wind *= MPH_M_S
    return {
        "motion": form.get("motion", ""),
        "wind_m_s": wind,
        "standing": form.get("standing", ""),
        "crowding": form.get("crowding", ""),
        "sun": form.get("sun") == "yes",
        "absorptance": number_of(form, "absorptance")
        if form.get("absorptance", "").strip()
        else None,
    }


@router.post("/places/{site}/{code}/film")
def set_film(
    tx: TransactionDep,
    shell: ShellDep,
    site: str,
    code: str,
    form: Annotated[dict[str, str], Depends(posted)],
) -> Response:
    """Pin the film of a place, or reset what was learned."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    place = places.place_at(tx, site=site, code=code)
    by = by_caller(shell.caller).name
    if form.get("reset"):
        place_films.reset(tx, place=place, by=by, now=shell.now)
    else:
        percent = number_of(form, "percent")
        checks = Checks()
        checks.within(
            "Pin it at", percent, low=100.0 * LEAST_FACTOR, high=100.0 * MOST_FACTOR, unit="%"
        )
        checks.raise_faults("The film cannot be pinned there.")
        place_films.pin(
            tx, place=place, factor=percent / 100.0, half_range=None, by=by, now=shell.now
        )
    return see(f"/places/{site}/{code}#film")
