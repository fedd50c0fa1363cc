"""Sites: make them and change them."""

import difflib
import zoneinfo
from functools import cache
from typing import Final, TypedDict

from drumkeep.domain.checks import Checks
from drumkeep.domain.products import OutputClass
from drumkeep.errors import Conflict, Fault, Invalid, NotFound
from drumkeep.storage import catalogue, place_marks
from drumkeep.storage.tables.catalogue import Site
from drumkeep.storage.transaction import Tx

_FELT: Final = frozenset({"altitude_m", "timezone"})
"""Pressures follow the altitude, and the sun the clock."""


class SiteChanges(TypedDict, total=False):
    """What may change on a site; its code stands in topics and addresses and stays."""

    name: str
    timezone: str
    altitude_m: float
    output_class: str


def create_site(
    tx: Tx,
    *,
    code: str,
    name: str,
    timezone: str,
    altitude_m: float = 0.0,
    output_class: str = OutputClass.FROM_20,
) -> Site:
    """Make a site.

    Raises
    ------
    Invalid
        A value cannot be used: an unknown time zone, an altitude out of range.
    Conflict
        The code is taken.
    """
    checks = Checks()
    checks.code("code", code)
    _check(
        checks,
        {
            "name": name,
            "timezone": timezone,
            "altitude_m": altitude_m,
            "output_class": output_class,
        },
    )
    checks.raise_faults("The site cannot be made.")
    if catalogue.site_by_code(tx, code=code) is not None:
        raise Conflict(
            "The site exists already.",
            [Fault("code", code, "is taken", "Choose another code, or change that site.")],
        )
    site = Site(
        code=code,
        name=name,
        timezone=timezone,
        altitude_m=altitude_m,
        output_class=output_class,
    )
    return catalogue.add(tx, site)


def change_site(tx: Tx, *, code: str, changes: SiteChanges) -> Site:
    """Change a site; where its drums feel it, they are computed again from the beginning.

    Raises
    ------
    NotFound
        There is no such site.
    Invalid
        A value cannot be used.
    """
    site = site_at(tx, code=code)
    checks = Checks()
    _check(checks, changes)
    checks.raise_faults("The site cannot be changed.")
    site.sqlmodel_update(dict(changes))
    if _FELT & changes.keys():
        places = catalogue.places_of_site(tx, site_id=site.id)
        place_marks.lower(tx, from_ms={place.id: 0 for place in places})
    return site


def site_at(tx: Tx, *, code: str) -> Site:
    """Return the site that an address names.

    Raises
    ------
    NotFound
        There is none.
    """
    site = catalogue.site_by_code(tx, code=code)
    if site is None:
        raise NotFound("There is no such site.", [_unknown("site", code)])
    return site


def site_named(tx: Tx, *, code: str, field: str = "site") -> Site:
    """Return the site that a field refers to.

    Raises
    ------
    Invalid
        There is none; the fault names the field.
    """
    site = catalogue.site_by_code(tx, code=code)
    if site is None:
        raise Invalid("The site is not known.", [_unknown(field, code)])
    return site


def _unknown(field: str, code: str) -> Fault:
    return Fault(field, code, "is not known", "Use the code of a site in the list of sites.")


def _check(checks: Checks, changes: SiteChanges) -> None:
    if "name" in changes:
        checks.text("name", changes["name"])
    if "timezone" in changes:
        _check_zone(checks, changes["timezone"])
    checks.within("altitude_m", changes.get("altitude_m"), low=-430.0, high=6000.0, unit="m")
    if "output_class" in changes:
        checks.one_of("output_class", changes["output_class"], OutputClass)


@cache
def _zones() -> frozenset[str]:
    return frozenset(zoneinfo.available_timezones())


def _check_zone(checks: Checks, name: str) -> None:
    if name not in _zones():
        near = difflib.get_close_matches(name[:64], _zones(), n=1)
        example = near[0] if near else "America/Chicago"
        checks.add(
            "timezone",
            name,
            "is no time zone",
            f"Use a name of the IANA time zone database, like {example}.",
        )
