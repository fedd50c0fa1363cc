"""Where drums can be: places and their sites, and the sensors that hang there.

A company can have thousands of sites, and a drum is at few of them: who has a drum or a mark at
hand reads the sites of its places only.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

from drumkeep.domain.film import FilmInForce
from drumkeep.domain.places import OPEN_KINDS, PlaceKind
from drumkeep.domain.sensors import What
from drumkeep.operations.hung import Hung
from drumkeep.storage import ground as rows
from drumkeep.storage import place_films
from drumkeep.storage.tables.catalogue import Calibration, Mount, Place, Sensor, Site
from drumkeep.storage.transaction import Tx

MOST_OFFERED: Final = 200
"""Places in one list to choose from: of more nobody finds one, and the page takes seconds."""


@dataclass(frozen=True)
class Premises:
    """Places and their sites; of each site that is here all places are."""

    places: Mapping[int, Place]
    sites: Mapping[int, Site]

    @cached_property
    def of_site(self) -> Mapping[int, Sequence[Place]]:
        """The places of each site, in the order in which they were made."""
        found: dict[int, list[Place]] = {site: [] for site in self.sites}
        for place in self.places.values():
            found[place.site_id].append(place)
        return found

    def beside(self, place_id: int) -> Sequence[Place]:
        """Return all places of the site of one, itself too."""
        return self.of_site[self.places[place_id].site_id]

    def enclosing(self, place_id: int) -> list[int]:
        """Return a place and those it sits in, from the inside out."""
        found: list[int] = []
        here: int | None = place_id
        while here is not None:
            found.append(here)
            here = self.places[here].inside_id
        return found

    def fed_by(self, place_id: int) -> list[int]:
        """Return the places whose air the sensors of this one may tell: itself and all inside."""
        return [p.id for p in self.beside(place_id) if place_id in self.enclosing(p.id)]

    def warm_room_for(self, place_id: int) -> Place | None:
        """Return the warm room nearest to a place: of the same building first, else of its site.

        A site's plan is not known; "nearest" is the warm room that shares the most enclosing
        places, and of those the first made.
        """
        rooms = [
            p
            for p in self.beside(place_id)
            if p.kind == PlaceKind.WARM_ROOM and p.set_point_c is not None
        ]
        around = set(self.enclosing(place_id))
        rooms.sort(key=lambda p: (-len(around & set(self.enclosing(p.id))), p.id))
        return rooms[0] if rooms else None


@dataclass(frozen=True)
class Ground(Premises):
    """The same with the sensors that ever hung there, read once for one computation.

    ``whole`` reads what hangs elsewhere on the sites, where it was left out.
    """

    air_mounts: Mapping[int, Sequence[Mount]]
    floor_mounts: Mapping[int, Sequence[Mount]]
    humidity_mounts: Mapping[int, Sequence[Mount]]
    sun_mounts: Mapping[int, Sequence[Mount]]
    sensors: Mapping[int, Sensor]
    calibrations: Mapping[int, Sequence[Calibration]]
    films: Mapping[int, Sequence[FilmInForce]] = field(default_factory=dict)
    whole: "Callable[[], Ground] | None" = None

    @cached_property
    def all_round(self) -> "Ground":
        """The same with all that hangs at its sites."""
        return self if self.whole is None else self.whole()

    def hung(self, mounts: Iterable[Mount]) -> list[Hung]:
        """Return the sensors of mounts in places, with all that tells what they said there."""
        return [
            Hung(
                mount=mount,
                sensor=self.sensors[mount.sensor_id],
                calibrations=self.calibrations.get(mount.sensor_id, ()),
                kind=PlaceKind(self.places[mount.place_id].kind),
            )
            for mount in mounts
            if mount.place_id is not None
        ]

    def elsewhere(self, mounts: Sequence[Mount]) -> list[Hung]:
        """Return the air sensors of the same site as some mounts, in other places."""
        here = {mount.place_id for mount in mounts}
        sites = {self.places[place].site_id for place in here if place is not None}
        ground = self.all_round
        return ground.hung(
            mount
            for site in sites
            for place in ground.of_site[site]
            if place.id not in here
            for mount in ground.air_mounts.get(place.id, ())
        )

    def sun_over(self, place_id: int) -> list[Sequence[Mount]]:
        """Return the mounts of the sensors that may tell a place's sun, nearest first.

        Its own, which say by themselves that it lies in the open, and where it is said to lie in
        the sun those of the places it sits in; none under a roof.
        """
        place = self.places[place_id]
        if place.kind not in OPEN_KINDS:
            return []
        around = self.enclosing(place_id) if place.sun else [place_id]
        return [self.sun_mounts[here] for here in around if here in self.sun_mounts]


def read_premises(tx: Tx, *, around: Iterable[int] | None = None) -> Premises:
    """Read the places of all sites, or of the sites of these places only."""
    return _premises(tx, site_ids=_sites_around(tx, around))


def read_offered(tx: Tx, *, at: int) -> Premises:
    """Read the places that a form offers to choose from: all, or of very many those of one site.

    Parameters
    ----------
    tx
        Any transaction.
    at
        The id of a place of that site.
    """
    return read_premises(tx, around=[at] if rows.count_places(tx) > MOST_OFFERED else None)


def read_ground(tx: Tx, *, around: Iterable[int] | None = None, sites: rows.Sites = None) -> Ground:
    """Read the places of all sites, of the sites of some places, or of some; and what hung there.

    Nothing of a place is told by what hangs at another site.
    """
    site_ids = sites if around is None else _sites_around(tx, around)
    return _ground(tx, _premises(tx, site_ids=site_ids), site_ids=site_ids)


def read_ground_under(tx: Tx, *, place_ids: Iterable[int]) -> Ground:
    """Read the sites of some places, and of what hung there only what tells of these.

    That is what hung in them and in those they sit in. What hangs elsewhere on the site is asked
    about a sensor that stands still, and is read then: a site can have hundreds.
    """
    wanted = set(place_ids)
    site_ids = rows.sites_around(tx, place_ids=wanted)
    premises = _premises(tx, site_ids=site_ids)
    around = {here for place_id in wanted for here in premises.enclosing(place_id)}
    return _ground(
        tx,
        premises,
        site_ids=site_ids,
        place_ids=around,
        whole=lambda: _ground(tx, premises, site_ids=site_ids),
    )


def _ground(
    tx: Tx,
    premises: Premises,
    *,
    site_ids: rows.Sites,
    place_ids: rows.Places = None,
    whole: Callable[[], Ground] | None = None,
) -> Ground:
    hung: dict[What, dict[int, list[Mount]]] = {what: defaultdict(list) for what in What}
    for mount in rows.place_mounts(tx, site_ids=site_ids, place_ids=place_ids):
        if mount.place_id is not None:
            hung[What(mount.what)][mount.place_id].append(mount)
    calibrations: dict[int, list[Calibration]] = defaultdict(list)
    for calibration in rows.calibrations(tx, site_ids=site_ids, place_ids=place_ids):
        calibrations[calibration.sensor_id].append(calibration)
    films = rows.films(tx, site_ids=site_ids, place_ids=place_ids)
    sensors = rows.sensors(tx, site_ids=site_ids, place_ids=place_ids)
    return Ground(
        places=premises.places,
        sites=premises.sites,
        air_mounts=hung[What.AIR],
        floor_mounts=hung[What.FLOOR],
        humidity_mounts=hung[What.HUMIDITY],
        sun_mounts=hung[What.SUN],
        sensors={sensor.id: sensor for sensor in sensors},
        calibrations=calibrations,
        films={place: place_films.course_of(said) for place, said in films.items()},
        whole=whole,
    )


def _sites_around(tx: Tx, place_ids: Iterable[int] | None) -> Sequence[int] | None:
    return None if place_ids is None else rows.sites_around(tx, place_ids=set(place_ids))


def _premises(tx: Tx, *, site_ids: rows.Sites) -> Premises:
    return Premises(
        places={place.id: place for place in rows.places(tx, site_ids=site_ids)},
        sites={site.id: site for site in rows.sites(tx, site_ids=site_ids)},
    )
