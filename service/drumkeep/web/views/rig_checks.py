"""Rigs and their weekly looks as the crew's page shows them."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import uuid4

from drumkeep.domain.rig_checks import RigFinding, RigPart, RigState, due_at, state_of
from drumkeep.operations.rig_checks import rigs_now
from drumkeep.storage import catalogue
from drumkeep.storage import rig_checks as rows
from drumkeep.storage.tables.rig_checks import RigCheck
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats

PARTS: Final = {
    RigPart.LUBRICANT: (
        "Pump lubricant",
        "Its colour, and whether it has turned to gel: iso has got past the seal.",
    ),
    RigPart.PACKING_NUT: ("Packing nut", "As tight as the pump's book says, pressure off."),
    RigPart.DESICCANT: ("Desiccant", "Its colour: spent desiccant lets damp air into the iso."),
    RigPart.NITROGEN: ("Nitrogen bottle", "What its gauge says."),
}
FINDINGS: Final = {
    RigFinding.FINE: "fine",
    RigFinding.CHANGED: "changed",
    RigFinding.NOTE: "see the note",
}
_LISTED: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class PartView:
    """A part of a rig: what to look for, where it stands in its week, its last look."""

    name: str
    title: str
    hint: str
    state: str
    due: datetime | None
    last: "CheckLine | None"


@dataclass(frozen=True, slots=True, kw_only=True)
class RigView:
    """A rig; ``form_id`` for the next round of looks."""

    id: int
    name: str
    site: str
    code: str
    timezone: str
    form_id: str
    parts: tuple[PartView, ...]

    @property
    def late(self) -> int:
        """How many of its parts are overdue."""
        return sum(part.state == RigState.OVERDUE.value for part in self.parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckLine:
    """One look in words."""

    rig: str
    part: str
    words: str
    note: str | None
    at: datetime
    by: str
    timezone: str


def rig_views(tx: Tx, *, formats: Formats) -> tuple[RigView, ...]:
    """Return every rig, those with a late part first."""
    rigs = rigs_now(tx)
    last = rows.last_checks(tx)
    sites = catalogue.sites_by_id(tx, ids=[rig.site for rig in rigs])
    views = []
    for rig in rigs:
        zone = sites[rig.site].timezone
        parts = []
        for part, (title, hint) in PARTS.items():
            row = last.get((rig.place, part.value))
            parts.append(
                PartView(
                    name=part.value,
                    title=title,
                    hint=hint,
                    state=state_of(rig, part, now=formats.now).value,
                    due=due_at(rig, part),
                    last=None
                    if row is None
                    else _line(row, rig=rig.name, zone=zone, formats=formats),
                )
            )
        views.append(
            RigView(
                id=rig.place,
                name=rig.name,
                site=sites[rig.site].name,
                code=rig.ref,
                timezone=zone,
                form_id=str(uuid4()),
                parts=tuple(parts),
            )
        )
    return tuple(sorted(views, key=lambda rig: not rig.late))


def never_checked(tx: Tx) -> int:
    """Return at how many rigs nobody has ever looked."""
    return sum(rig.first_at is None for rig in rigs_now(tx))


def check_lines(tx: Tx, *, formats: Formats) -> tuple[CheckLine, ...]:
    """Return the last looks at all rigs, the latest first."""
    found = rows.checks(tx, limit=_LISTED)
    places = catalogue.places_by_id(tx, ids=[row.place_id for row in found])
    sites = catalogue.sites_by_id(tx, ids=[place.site_id for place in places.values()])
    return tuple(
        _line(
            row,
            rig=places[row.place_id].name,
            zone=sites[places[row.place_id].site_id].timezone,
            formats=formats,
        )
        for row in found
    )


def _line(row: RigCheck, *, rig: str, zone: str, formats: Formats) -> CheckLine:
    words = FINDINGS[RigFinding(row.finding)]
    if row.pressure_kpa is not None:
        words = f"{formats.bottle_pressure(row.pressure_kpa)}, {words}"
    return CheckLine(
        rig=rig,
        part=PARTS[RigPart(row.part)][0],
        words=words,
        note=row.note,
        at=row.at,
        by=row.by,
        timezone=zone,
    )
