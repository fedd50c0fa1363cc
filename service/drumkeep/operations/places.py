"""Places: where drums can be, at a site, one inside another."""

from typing import Final, TypedDict

from drumkeep.domain.checks import Checks
from drumkeep.domain.places import (
    DEFAULT_MOTION,
    DEFAULT_STANDING,
    OPEN_KINDS,
    Crowding,
    Motion,
    PlaceKind,
    Standing,
)
from drumkeep.domain.sun import LEAST_ABSORPTANCE
from drumkeep.errors import Conflict, Fault, Invalid, NotFound
from drumkeep.operations.sites import site_named
from drumkeep.storage import catalogue, drums, place_marks
from drumkeep.storage.tables.catalogue import Place
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.boundary import LEAST_WIND_M_S, MOST_WIND_M_S
from drumkeep.thermal.solar import ABSORPTANCE

LOWEST_SET_POINT_C: Final = 10.0
HIGHEST_SET_POINT_C: Final = 48.9
"""120 °F, the highest that an iso data sheet commonly allows (common practice, no source)."""

MOST_DRUMS: Final = 10_000

_HEAT: Final = frozenset(
    {"kind", "inside", "motion", "standing", "wind_m_s", "crowding", "sun", "absorptance"}
)
"""Changes of these change the computed past of the drums that stood there."""


class PlaceChanges(TypedDict, total=False):
    """What may change on a place; its site and code stay."""

    name: str
    kind: str
    inside: str | None
    motion: str
    standing: str
    wind_m_s: float | None
    crowding: str
    sun: bool
    absorptance: float | None
    set_point_c: float | None
    capacity: int | None


def create_place(  # noqa: PLR0913 - a place has so many facets
    tx: Tx,
    *,
    site: str,
    code: str,
    name: str,
    kind: str,
    inside: str | None = None,
    motion: str | None = None,
    standing: str | None = None,
    wind_m_s: float | None = None,
    crowding: str = Crowding.ALONE,
    sun: bool = False,
    absorptance: float | None = None,
    set_point_c: float | None = None,
    capacity: int | None = None,
) -> Place:
    """Make a place; motion and standing follow from its kind unless given.

    Raises
    ------
    Invalid
        A value cannot be used: an unknown site or kind, a set point out of range or not of a warm
        room, a wind in still air, sun under a roof, inside a place that is unknown or of another
        site.
    Conflict
        The code is taken at this site.
    """
    at = site_named(tx, code=site)
    checks = Checks()
    checks.code("code", code)
    known = checks.one_of("kind", kind, PlaceKind)
    place = Place(
        site_id=at.id,
        code=code,
        name=name,
        kind=kind,
        motion=motion or (DEFAULT_MOTION[known] if known else ""),
        standing=standing or (DEFAULT_STANDING[known] if known else ""),
        wind_m_s=wind_m_s,
        crowding=crowding,
        sun=sun,
        absorptance=absorptance,
        set_point_c=set_point_c,
        capacity=capacity,
    )
    if known:
        _check(checks, place)
    if inside is not None:
        place.inside_id = _inside(tx, checks, place, inside)
    checks.raise_faults("The place cannot be made.")
    if catalogue.place_by_code(tx, site=site, code=code) is not None:
        raise Conflict(
            "The place exists already.",
            [Fault("code", code, "is taken at this site", "Choose another, or change it.")],
        )
    return catalogue.add(tx, place)


def change_place(tx: Tx, *, site: str, code: str, changes: PlaceChanges) -> Place:
    """Change a place; a new kind alone brings that kind's motion and standing with it, and no wind.

    What changes the heat of the drums there has them computed again from the beginning.

    Raises
    ------
    NotFound
        There is no such place.
    Invalid
        A value cannot be used, or would put the place inside itself.
    """
    place = place_at(tx, site=site, code=code)
    checks = Checks()
    # First: a query stores what has changed so far, and that is not checked yet.
    if "inside" in changes:
        inside = changes["inside"]
        place.inside_id = None if inside is None else _inside(tx, checks, place, inside)
    if "kind" in changes and changes["kind"] != place.kind:
        known = checks.one_of("kind", changes["kind"], PlaceKind)
        if known is not None:
            place.motion, place.standing = DEFAULT_MOTION[known], DEFAULT_STANDING[known]
            place.wind_m_s, place.sun = None, place.sun and known in OPEN_KINDS
    own = {name: value for name, value in changes.items() if name != "inside"}
    place.sqlmodel_update(own)
    if not checks.faults:
        _check(checks, place)
    checks.raise_faults("The place cannot be changed.")
    if _HEAT & changes.keys():
        place_marks.lower(tx, from_ms={place.id: 0})
    return place


def place_at(tx: Tx, *, site: str, code: str) -> Place:
    """Return the place that an address names.

    Raises
    ------
    NotFound
        There is none.
    """
    place = catalogue.place_by_code(tx, site=site, code=code)
    if place is None:
        raise NotFound("There is no such place.", [_unknown("place", f"{site}/{code}")])
    return place


def place_named(tx: Tx, *, reference: str, field: str = "place") -> Place:
    """Return the place that a field refers to as ``site/code``.

    Raises
    ------
    Invalid
        There is none; the fault names the field.
    """
    if not reference:
        fault = Fault(field, None, "is not chosen", "Choose the place.")
        raise Invalid("No place is chosen.", [fault])
    site, _, code = reference.partition("/")
    place = catalogue.place_by_code(tx, site=site, code=code)
    if place is None:
        raise Invalid("The place is not known.", [_unknown(field, reference)])
    return place


def refuse_beyond_capacity(tx: Tx, *, place_id: int, came: int = 1) -> None:
    """Refuse the last that came into a place that does not hold so many; nothing is kept of it.

    Raises
    ------
    Conflict
        Naming how many drums more would fit.
    """
    place = catalogue.places_by_id(tx, ids=[place_id])[place_id]
    if place.capacity is None:
        return
    there = drums.count_in(tx, place_id=place_id)
    if there <= place.capacity:
        return
    free = max(place.capacity - (there - came), 0)
    reference = catalogue.place_references(tx, ids=[place_id])[place_id]
    problem = f"holds {place.capacity} drums and has room for {free} more, not for {came}"
    mend = "Take some out, choose another place, or have a manager change what it holds."
    raise Conflict("They do not fit there.", [Fault("to", reference, problem, mend)])


def _unknown(field: str, reference: str) -> Fault:
    return Fault(
        field,
        reference,
        "is not known",
        "Write a place of the list of places as site/code, like north/dock-1.",
    )


def _check(checks: Checks, place: Place) -> None:
    checks.text("name", place.name)
    checks.one_of("motion", place.motion, Motion)
    checks.one_of("standing", place.standing, Standing)
    checks.one_of("crowding", place.crowding, Crowding)
    _check_weather(checks, place)
    checks.within("capacity", place.capacity, low=1, high=MOST_DRUMS, unit="drums")
    if place.set_point_c is not None and place.kind != PlaceKind.WARM_ROOM:
        checks.add(
            "set_point_c",
            place.set_point_c,
            f"belongs to a warm room, and this is a {place.kind}",
            "Leave it out, or make the kind warm_room.",
        )
    else:
        checks.within(
            "set_point_c",
            place.set_point_c,
            low=LOWEST_SET_POINT_C,
            high=HIGHEST_SET_POINT_C,
            unit="°C",
        )


def _check_weather(checks: Checks, place: Place) -> None:
    if place.wind_m_s is not None and place.motion == Motion.STILL:
        mend = "Leave it out, or make the motion fan, moving or windy."
        checks.add("wind_m_s", place.wind_m_s, "stands beside still air", mend)
    checks.within(
        "wind_m_s", place.wind_m_s, low=LEAST_WIND_M_S, high=MOST_WIND_M_S, unit="m/s at the drums"
    )
    if place.sun and place.kind not in OPEN_KINDS:
        open_kinds = ", ".join(sorted(OPEN_KINDS))
        mend = f"Leave it out, or make the kind one of: {open_kinds}."
        checks.add("sun", place.sun, f"does not shine into a {place.kind}", mend)
    if place.absorptance is not None and not LEAST_ABSORPTANCE <= place.absorptance <= 1.0:
        paints = ", ".join(f"{paint} {share:g}" for paint, share in ABSORPTANCE.items())
        mend = f"Give a share from {LEAST_ABSORPTANCE:g} to 1: {paints}."
        checks.add("absorptance", place.absorptance, "is out of range", mend)


def _inside(tx: Tx, checks: Checks, place: Place, reference: str) -> int | None:
    """Return the id of the place to be around this one, or note why it cannot be."""
    site, _, code = reference.partition("/")
    outer = catalogue.place_by_code(tx, site=site, code=code)
    if outer is None:
        checks.faults.append(_unknown("inside", reference))
        return None
    if outer.site_id != place.site_id:
        checks.add(
            "inside", reference, "is at another site", "Name a place of the same site, or null."
        )
        return None
    around = {p.id: p.inside_id for p in catalogue.places_of_site(tx, site_id=place.site_id)}
    step: int | None = outer.id
    while step is not None and step != place.id:
        step = around[step]
    if step is not None:
        checks.add(
            "inside",
            reference,
            "would put the place inside itself",
            "Name a place that is not inside this one, or null.",
        )
    return outer.id
