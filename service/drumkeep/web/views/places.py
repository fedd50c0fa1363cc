"""A place as its page tells of it: how drums stand there, and its film."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from drumkeep.domain.film import NAMED_FILM, FilmSource
from drumkeep.domain.places import OPEN_KINDS
from drumkeep.errors import Fault
from drumkeep.operations.ground import Premises
from drumkeep.storage import catalogue
from drumkeep.storage.tables.catalogue import Place
from drumkeep.storage.tables.place_films import PlaceFilm
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.boundary import Setting, exposure
from drumkeep.web.formats import Formats
from drumkeep.web.wording import CROWDING, MOTION, STANDING

MPH_M_S: Final = 0.44704
"""Miles an hour (exact)."""

_LIKE_NAMED: Final = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceView:
    """A place by name; ``code`` with its site's, as addresses have it.

    ``drums`` stand there; ``capacity`` is how many fit, None where nobody said.
    """

    place: str
    code: str
    kind_words: str
    site: str
    drums: int = 0
    capacity: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingView:
    """How drums stand in a place: in ``words``, what is chosen, and what may be chosen.

    ``wind`` and ``absorptance`` are the numbers given, as written; ``film_w_m2k`` of a bare side in
    air of 25 °C round a wall of 10 °C.
    """

    words: str
    motion: str
    standing: str
    crowding: str
    wind: str
    sun: bool
    may_have_sun: bool
    absorptance: str
    film_w_m2k: float
    motions: tuple[tuple[str, str], ...]
    standings: tuple[tuple[str, str], ...]
    crowdings: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmView:
    """A place's film from a time on: a factor of the named one with its range, and why."""

    factor: float
    low: float
    high: float
    words: str
    since: datetime | None = None
    by: str | None = None


def setting_view(place: Place, *, formats: Formats) -> SettingView:
    """Return how drums stand in a place; wind in mph or m/s."""
    scale = MPH_M_S if formats.units == "us" else 1.0
    wind = "" if place.wind_m_s is None else f"{place.wind_m_s / scale:.3g}"
    films = exposure(Setting(motion=place.motion, wind_m_s=place.wind_m_s))
    return SettingView(
        words=_setting_words(place, wind=wind, formats=formats),
        motion=place.motion,
        standing=place.standing,
        crowding=place.crowding,
        wind=wind,
        sun=place.sun,
        may_have_sun=place.kind in OPEN_KINDS,
        absorptance="" if place.absorptance is None else f"{place.absorptance:g}",
        film_w_m2k=films.side_w_m2k,
        motions=tuple(MOTION.items()),
        standings=tuple(STANDING.items()),
        crowdings=tuple(CROWDING.items()),
    )


def _setting_words(place: Place, *, wind: str, formats: Formats) -> str:
    words = formats.words
    air = words(MOTION[place.motion])
    if wind:
        air = f"{air}, {wind} {formats.speed_unit}"
    sentence = "The air is {air}; drums stand on {standing}, {crowding}."
    if place.sun:
        sentence = "The air is {air}; drums stand on {standing}, {crowding}, in the sun."
    return words(
        sentence,
        air=air,
        standing=words(STANDING[place.standing]),
        crowding=words(CROWDING[place.crowding]),
    )


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
            quicker = _quicker(row.factor)
            if row.dips == 1:
                return f"Learned from 1 dip: {quicker}."
            return f"Learned from {row.dips} dips: {quicker}."
        case FilmSource.PINNED:
            return "Pinned; dips do not change it."
        case FilmSource.RESET:
            return "Reset: what was learned is forgotten, and learning begins anew."


def _quicker(factor: float) -> str:
    if abs(factor - 1.0) < _LIKE_NAMED:
        return "drums here warm and cool as the named film says"
    if factor > 1.0:
        return "drums here warm and cool faster than the named film says"
    return "drums here warm and cool slower than the named film says"


def places_by_reference(premises: Premises) -> dict[str, Place]:
    """Return all places by ``site/code``."""
    return {f"{premises.sites[p.site_id].code}/{p.code}": p for p in premises.places.values()}


def named_places(tx: Tx, faults: Sequence[Fault]) -> list[Fault]:
    """Return faults with a place that was given as ``site/code`` called by its name."""
    return [replace(fault, value=_called(tx, fault.value)) for fault in faults]


def _called(tx: Tx, value: object) -> object:
    if not isinstance(value, str) or "/" not in value:
        return value
    site, _, code = value.partition("/")
    place = catalogue.place_by_code(tx, site=site, code=code)
    return value if place is None else place.name


def place_choices(premises: Premises, *, but: int | None = None) -> list[tuple[str, str]]:
    """Return the places that a form offers, as reference and words; all, or all but one."""
    return [
        (reference, f"{place.name}, {premises.sites[place.site_id].name}")
        for reference, place in places_by_reference(premises).items()
        if place.id != but
    ]
