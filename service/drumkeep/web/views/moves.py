"""Drums on their way: what is picked, where it may go, what was moved."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import cast
from uuid import UUID

from drumkeep.domain.conditions import Condition
from drumkeep.domain.events import effective
from drumkeep.errors import Fault
from drumkeep.operations.ground import Premises
from drumkeep.storage import drums as rows
from drumkeep.storage.drums import StockRow
from drumkeep.storage.tables.catalogue import Place
from drumkeep.storage.tables.drums import Drum, Event
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import SideName
from drumkeep.web.views.places import places_by_reference


@dataclass(frozen=True, slots=True, kw_only=True)
class CarriedView:
    """A drum that may be moved: where it stands, and what stands against it.

    ``refused`` says why it was not moved just now; ``blocked`` why it must stay where it is.
    """

    tag: str
    side: SideName
    lot: str
    place: str
    place_code: str
    blocked: str = ""
    refused: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedView:
    """Drums that were moved in one go; ``drums`` each with its place now, ``back`` if undone."""

    key: str
    to: str
    to_code: str
    at: datetime
    recorded_at: datetime
    by: str
    drums: tuple[CarriedView, ...]
    back: bool
    timezone: str


def carried_views(
    tx: Tx,
    *,
    formats: Formats,
    tags: Sequence[str] | None = None,
    place_id: int | None = None,
    without: Collection[str] = (),
    most: int | None = None,
    refused: Mapping[str, Fault] | None = None,
) -> tuple[CarriedView, ...]:
    """Return drums to be moved: of these tags in this order, or those that stand in a place."""
    if tags is None:
        found = rows.list_drums(tx, place_ids=[place_id or 0], limit=None)
        found = [row for row in found if row.drum.tag not in without][:most]
    else:
        ids = rows.ids_by_tag(tx, tags=list(tags))
        there = rows.list_drums(tx, among=list(ids.values()), present=False, limit=None)
        by_tag = {row.drum.tag: row for row in there}
        found = [by_tag[tag] for tag in tags if tag in by_tag]
    faults = refused or {}
    return tuple(_carried(row, fault=faults.get(row.drum.tag), formats=formats) for row in found)


def _carried(row: StockRow, *, fault: Fault | None, formats: Formats) -> CarriedView:
    conditions = row.estimate.conditions if row.estimate is not None else []
    blocked = ""
    if Condition.BULGED.value in conditions:
        blocked = "Bulged: do not move it. Step away and call the manager."
    elif {Condition.OVERPRESSURE.value, Condition.PRESSURE.value} & set(conditions):
        blocked = "Under pressure: do not move it. Let it cool where it stands."
    elif row.drum.ended is not None:
        blocked = f"It was {row.drum.ended}."
    return CarriedView(
        tag=row.drum.tag,
        side=cast("SideName", row.product.side),
        lot=row.lot.code,
        place=row.place.name,
        place_code=f"{row.site.code}/{row.place.code}",
        blocked=blocked,
        refused="" if fault is None else _refused(fault, formats=formats),
    )


def _refused(fault: Fault, *, formats: Formats) -> str:
    problem, mend = (formats.tongue.say(text) for text in (fault.problem, fault.mend))
    return f"{problem[:1].upper()}{problem[1:].rstrip('.')}. {mend}"


def destinations(
    tx: Tx, premises: Premises, *, formats: Formats
) -> tuple[tuple[str, str, str], ...]:
    """Return the places that drums may go to: reference, words with the room left, and name."""
    there = rows.standing_in(tx, place_ids=list(premises.places))
    return tuple(
        (
            reference,
            _destination(
                place,
                f"{place.name}, {premises.sites[place.site_id].name}",
                there=there,
                formats=formats,
            ),
            place.name,
        )
        for reference, place in places_by_reference(premises).items()
    )


def _destination(place: Place, name: str, *, there: Mapping[int, int], formats: Formats) -> str:
    if place.capacity is None:
        return name
    free = max(place.capacity - there.get(place.id, 0), 0)
    return formats.words(
        "{place} ({free} of {capacity} free)",
        place=name,
        free=str(free),
        capacity=str(place.capacity),
    )


def moved_view(
    tx: Tx,
    done: Sequence[tuple[Drum, Event]],
    *,
    key: UUID,
    premises: Premises,
    formats: Formats,
) -> MovedView | None:
    """Return what was moved in one go; None where nothing was."""
    if not done:
        return None
    logs = rows.events_of(tx, drum_ids=[drum.id for drum, _ in done])
    kept = {event.id for log in logs.values() for event in effective(log)}
    event = done[0][1]
    place = premises.places[event.data["to"]]
    site = premises.sites[place.site_id]
    return MovedView(
        key=str(key),
        to=place.name,
        to_code=f"{site.code}/{place.code}",
        at=event.at,
        recorded_at=event.recorded_at,
        by=event.by,
        drums=carried_views(tx, formats=formats, tags=[drum.tag for drum, _ in done]),
        back=not any(event.id in kept for _, event in done),
        timezone=site.timezone,
    )
