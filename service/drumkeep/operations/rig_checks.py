"""Record the weekly look at the parts of a rig, and tell what is due."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID, uuid5

from drumkeep.domain.checks import Checks
from drumkeep.domain.drums import check_time
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.rig_checks import HIGHEST_KPA, RigFinding, RigNow, RigPart
from drumkeep.errors import Conflict, Fault, Invalid
from drumkeep.operations.drums import By
from drumkeep.operations.places import place_named
from drumkeep.storage import rig_checks as rows
from drumkeep.storage.catalogue import add
from drumkeep.storage.ground import Sites
from drumkeep.storage.tables.rig_checks import RigCheck
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What one look at one part found."""

    part: str
    finding: str
    pressure_kpa: float | None = None
    note: str | None = None


def rigs_now(tx: Tx, *, sites: Sites = None) -> list[RigNow]:
    """Return the rigs of sites, each with the last look at each of its parts."""
    last: dict[int, dict[RigPart, datetime]] = defaultdict(dict)
    first: dict[int, datetime] = {}
    for place_id, part, begun, latest in rows.spans(tx, sites=sites):
        last[place_id][RigPart(part)] = latest
        first[place_id] = min(begun, first.get(place_id, begun))
    return [
        RigNow(
            place=place.id,
            site=site.id,
            name=place.name,
            ref=f"{site.code}/{place.code}",
            last_at=last[place.id],
            first_at=first.get(place.id),
        )
        for place, site in rows.rigs(tx, sites=sites)
    ]


def record_checks(
    tx: Tx,
    *,
    place: str,
    looks: Sequence[Look],
    form_id: UUID,
    at: datetime,
    by: By,
    now: datetime,
) -> list[RigCheck]:
    """Record one round of looks at a rig; the same id again changes nothing.

    Raises
    ------
    Invalid
        The place is no rig, nothing was looked at, or a look cannot be.
    Conflict
        Something else was recorded under this id.
    """
    rig = place_named(tx, reference=place, field="place")
    if rig.kind != PlaceKind.RIG.value:
        mend = "Choose a place of the kind rig."
        raise Invalid("That is no rig.", [Fault("place", place, "is no rig", mend)])
    _check(looks)
    check_time(at, now=now)
    return [
        _recorded(
            tx, look=look, row_id=uuid5(form_id, look.part), rig=rig.id, at=at, by=by, now=now
        )
        for look in looks
    ]


def _recorded(
    tx: Tx, *, look: Look, row_id: UUID, rig: int, at: datetime, by: By, now: datetime
) -> RigCheck:
    known = rows.check_by_id(tx, check_id=row_id)
    told = (rig, look.finding, look.pressure_kpa, look.note)
    if known is not None:
        if (known.place_id, known.finding, known.pressure_kpa, known.note) != told:
            mend = "Make a new UUID for each round of looks."
            fault = Fault("id", str(row_id), "belongs to another look", mend)
            raise Conflict("Something else was recorded under this id.", [fault])
        return known
    return add(
        tx,
        RigCheck(
            id=row_id,
            place_id=rig,
            part=look.part,
            finding=look.finding,
            pressure_kpa=look.pressure_kpa,
            note=look.note,
            at=at,
            recorded_at=now,
            account_id=by.account_id,
            by=by.name,
        ),
    )


def _check(looks: Sequence[Look]) -> None:
    checks = Checks()
    if not looks:
        checks.add("checks", None, "is empty", "Say what was found of at least one part.")
    seen: set[str] = set()
    for number, look in enumerate(looks):
        where = f"checks.{number}"
        part = checks.one_of(f"{where}.part", look.part, RigPart)
        finding = checks.one_of(f"{where}.finding", look.finding, RigFinding)
        if look.part in seen:
            checks.add(f"{where}.part", look.part, "is there twice", "Give each part once.")
        seen.add(look.part)
        if look.note is not None:
            checks.text(f"{where}.note", look.note, longest=500)
        if finding is RigFinding.NOTE and not look.note:
            checks.add(f"{where}.note", None, "is missing", "Write what you found.")
        if look.pressure_kpa is not None and part is not RigPart.NITROGEN:
            mend = "Leave it out: only the nitrogen bottle has a gauge here."
            checks.add(f"{where}.pressure_kpa", look.pressure_kpa, "does not belong here", mend)
        elif part is RigPart.NITROGEN and look.pressure_kpa is None:
            mend = "Read the gauge of the bottle."
            checks.add(f"{where}.pressure_kpa", None, "is missing", mend)
        checks.within(
            f"{where}.pressure_kpa", look.pressure_kpa, low=0.0, high=HIGHEST_KPA, unit="kPa"
        )
    checks.raise_faults("The check cannot be recorded.")
