"""Queries on drums, their events and their stays."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Select
from sqlalchemy import select as select_rows
from sqlmodel import col, delete, func, or_, select

from drumkeep.domain.drums import DrumFacts
from drumkeep.domain.events import DrumEvent, EventKind
from drumkeep.storage import glances
from drumkeep.storage.bulk import keyed
from drumkeep.storage.tables.catalogue import Lot, Place, Product, Site
from drumkeep.storage.tables.drums import Drum, Event, Pour, Stay
from drumkeep.storage.tables.estimates import Estimate
from drumkeep.storage.transaction import Tx


def drum_by_tag(tx: Tx, *, tag: str) -> Drum | None:
    """Return the drum of this tag."""
    return tx.session.exec(select(Drum).where(Drum.tag == tag)).one_or_none()


def drums_by_id(tx: Tx, *, ids: Sequence[int]) -> dict[int, Drum]:
    """Return drums by id."""
    rows = tx.session.exec(select(Drum).where(col(Drum.id).in_(ids))).all()
    return {row.id: row for row in rows}


def tags_by_id(tx: Tx, *, ids: Sequence[int]) -> dict[int, str]:
    """Return tags by drum id."""
    rows = tx.session.exec(select(Drum.id, Drum.tag).where(col(Drum.id).in_(ids))).all()
    return dict(rows)


def ids_by_tag(tx: Tx, *, tags: Sequence[str]) -> dict[str, int]:
    """Return drum ids by tag; tags that no drum bears have no entry."""
    if not tags:
        return {}
    return dict(tx.session.exec(select(Drum.tag, Drum.id).where(col(Drum.tag).in_(tags))).all())


@dataclass(frozen=True, slots=True)
class StockRow:
    """A drum with all that a page says of it."""

    drum: Drum
    estimate: Estimate | None
    lot: Lot
    product: Product
    place: Place
    site: Site


def list_drums(
    tx: Tx,
    *,
    tag: str | None = None,
    side: str | None = None,
    lot: str | None = None,
    place_ids: Sequence[int] | None = None,
    condition: str | None = None,
    among: Select[Any] | Sequence[int] | None = None,
    present: bool = True,
    after: int = 0,
    limit: int | None = 200,
) -> list[StockRow]:
    """Return drums with what was computed of them, past the id ``after``.

    Parameters
    ----------
    tag, side, lot, place_ids, condition
        Narrow the list; ``clear`` as condition asks for drums without any.
    among
        Only drums of these ids, or of those that a query gives.
    present
        Leave out drums that were emptied or disposed of.
    limit
        None for all.
    """
    statement = (
        select_rows(Drum, Estimate, Lot, Product, Place, Site)
        .join(Lot, col(Drum.lot_id) == col(Lot.id))
        .join(Product, col(Lot.product_id) == col(Product.id))
        .join(Place, col(Drum.place_id) == col(Place.id))
        .join(Site, col(Place.site_id) == col(Site.id))
        .join(Estimate, col(Estimate.drum_id) == col(Drum.id), isouter=True)
        .where(col(Drum.id) > after)
        .order_by(col(Drum.id))
    )
    if present:
        statement = statement.where(col(Drum.ended).is_(None))
    if tag is not None:
        statement = statement.where(col(Drum.tag) == tag)
    if side is not None:
        statement = statement.where(col(Product.side) == side)
    if lot is not None:
        statement = statement.where(col(Lot.code) == lot)
    if place_ids is not None:
        statement = statement.where(col(Drum.place_id).in_(place_ids))
    if condition is not None:
        statement = statement.where(col(Drum.id).in_(glances.of_condition(condition)))
    if among is not None:
        statement = statement.where(col(Drum.id).in_(among))
    if limit is not None:
        statement = statement.limit(limit)
    return [StockRow(*row) for row in tx.session.execute(statement)]


def event_by_id(tx: Tx, *, event_id: UUID) -> Event | None:
    """Return the event that a client made under this id."""
    return tx.session.exec(select(Event).where(Event.id == event_id)).one_or_none()


def events_of(tx: Tx, *, drum_ids: Sequence[int]) -> dict[int, list[DrumEvent]]:
    """Return all recorded events of drums, in order of recording."""
    logs = event_rows_of(tx, drum_ids=drum_ids)
    return {drum_id: [as_event(row) for row in log] for drum_id, log in logs.items()}


def event_rows_of(tx: Tx, *, drum_ids: Sequence[int]) -> dict[int, list[Event]]:
    """Return the logs of drums, in order of recording."""
    found: dict[int, list[Event]] = {drum_id: [] for drum_id in drum_ids}
    for row in tx.session.exec(
        select(Event).where(col(Event.drum_id).in_(drum_ids)).order_by(col(Event.seq))
    ):
        found[row.drum_id].append(row)
    return found


def event_rows(tx: Tx, *, drum_id: int) -> Sequence[Event]:
    """Return a drum's log, in order of recording."""
    return event_rows_of(tx, drum_ids=[drum_id])[drum_id]


def as_event(row: Event) -> DrumEvent:
    """Return a stored event in the domain's form."""
    return DrumEvent(
        id=row.id,
        kind=EventKind(row.kind),
        at=row.at,
        recorded_at=row.recorded_at,
        data=row.data,
        by=row.account_id,
        note=row.note,
    )


def project(tx: Tx, *, drum: Drum, facts: DrumFacts, origin: Stay | None) -> None:
    """Write what a drum's events amount to into its row, its stays and what was poured into it."""
    drum.place_id = facts.place
    drum.received_at = facts.received_at
    drum.net_kg = facts.net_kg
    drum.un_mark = facts.un_mark.text if facts.un_mark is not None else None
    drum.ended = facts.ended.value if facts.ended is not None else None
    drum.wanted_at = facts.wanted_at
    drum.wanted_output = facts.wanted_output.value if facts.wanted_output is not None else None
    drum.revision += 1
    tx.session.add(drum)
    tx.session.exec(delete(Stay).where(col(Stay.drum_id) == drum.id))
    for stay in facts.stays:
        tx.session.add(
            Stay(drum_id=drum.id, place_id=stay.place, since=stay.since, until=stay.until)
        )
    if origin is not None:
        tx.session.add(origin)
    tx.session.exec(delete(Pour).where(col(Pour.drum_id) == drum.id))
    donors = ids_by_tag(tx, tags=[tag for tag, _ in facts.poured_in])
    for tag, at in facts.poured_in:
        if tag in donors:
            tx.session.add(Pour(drum_id=drum.id, donor_id=donors[tag], at=at))


def pours_into(tx: Tx, *, drum_ids: Sequence[int]) -> Sequence[Pour]:
    """Return what was ever poured into drums."""
    return tx.session.exec(select(Pour).where(col(Pour.drum_id).in_(drum_ids))).all()


def pours_since(tx: Tx, *, since: datetime) -> Sequence[Pour]:
    """Return every pour from one drum into another from a time on."""
    return tx.session.exec(select(Pour).where(col(Pour.at) >= since)).all()


def stays_touching(tx: Tx, *, place_ids: Sequence[int], since: datetime) -> Sequence[Stay]:
    """Return every stay in these places that lasts up to a time or past it."""
    return tx.session.exec(
        select(Stay).where(
            keyed(tx.session.connection(), col(Stay.place_id), place_ids),
            or_(col(Stay.until).is_(None), col(Stay.until) >= since),
        )
    ).all()


def stays_of(tx: Tx, *, drum_ids: Sequence[int]) -> Sequence[Stay]:
    """Return every stay of these drums."""
    return tx.session.exec(select(Stay).where(col(Stay.drum_id).in_(drum_ids))).all()


def place_at(tx: Tx, *, drum_id: int, at: datetime) -> int | None:
    """Return the place where a drum stood at a time; None before its receipt and after its end."""
    return tx.session.exec(
        select(Stay.place_id)
        .where(
            Stay.drum_id == drum_id,
            col(Stay.origin).is_(False),
            col(Stay.since) <= at,
            or_(col(Stay.until).is_(None), col(Stay.until) > at),
        )
        .order_by(col(Stay.since).desc())
    ).first()


def count_in(tx: Tx, *, place_id: int) -> int:
    """Return how many drums stand in a place."""
    return tx.session.exec(
        select(func.count()).where(col(Drum.place_id) == place_id, col(Drum.ended).is_(None))
    ).one()


def standing_in(tx: Tx, *, place_ids: Sequence[int]) -> dict[int, int]:
    """Return how many drums stand in places, by place id; none has no entry."""
    rows = tx.session.exec(
        select(Drum.place_id, func.count())
        .where(col(Drum.place_id).in_(place_ids), col(Drum.ended).is_(None))
        .group_by(col(Drum.place_id))
    ).all()
    return dict(rows)


def present_ids(tx: Tx) -> Sequence[int]:
    """Return the ids of drums that have neither been emptied nor disposed of, place by place."""
    return tx.session.exec(
        select(Drum.id).where(col(Drum.ended).is_(None)).order_by(col(Drum.place_id), col(Drum.id))
    ).all()


def marked(tx: Tx) -> Sequence[Drum]:
    """Return drums that must be computed again from some time on."""
    return tx.session.exec(select(Drum).where(col(Drum.from_ms).is_not(None))).all()


def mark(tx: Tx, *, from_ms: Mapping[int, int]) -> None:
    """Have drums computed again from times (epoch ms by drum id) on; an earlier mark stays.

    Their revision grows, so that a computation that began before is not stored over it.
    """
    if not from_ms:
        return
    for drum in drums_by_id(tx, ids=list(from_ms)).values():
        since = from_ms[drum.id]
        drum.from_ms = since if drum.from_ms is None else min(drum.from_ms, since)
        drum.revision += 1
        tx.session.add(drum)


def drums_of(tx: Tx, *, product_id: int) -> Sequence[Drum]:
    """Return every drum of a product, gone ones too."""
    return tx.session.exec(
        select(Drum)
        .join(Lot, col(Drum.lot_id) == col(Lot.id))
        .where(col(Lot.product_id) == product_id)
        .order_by(col(Drum.id))
    ).all()


def lots_and_products(tx: Tx, *, lot_ids: Sequence[int]) -> Mapping[int, tuple[Lot, Product]]:
    """Return lots with their products by lot id."""
    rows = tx.session.exec(
        select(Lot, Product)
        .join(Product, col(Lot.product_id) == Product.id)
        .where(col(Lot.id).in_(lot_ids))
    ).all()
    return {lot.id: (lot, product) for lot, product in rows}


def behind(tx: Tx, *, step: int) -> Sequence[int]:
    """Return the ids of present drums that are not computed for a grid step, place by place."""
    return tx.session.exec(
        select(Drum.id)
        .join(Estimate, col(Estimate.drum_id) == col(Drum.id), isouter=True)
        .where(
            col(Drum.ended).is_(None),
            or_(col(Estimate.step).is_(None), col(Estimate.step) != step),
        )
        .order_by(col(Drum.place_id), col(Drum.id))
    ).all()


def set_aside(tx: Tx) -> dict[int, int]:
    """Return the drums that could not be computed, and the grid step at which that was tried."""
    rows = tx.session.exec(
        select(Estimate.drum_id, Estimate.step).where(col(Estimate.fault).is_not(None))
    ).all()
    return dict(rows)


def sites_of(tx: Tx, *, drum_ids: Sequence[int]) -> dict[int, int]:
    """Return the site of each of these drums, where it is or last was."""
    rows = tx.session.exec(
        select(Drum.id, Place.site_id)
        .join(Place, col(Place.id) == col(Drum.place_id))
        .where(keyed(tx.session.connection(), col(Drum.id), drum_ids))
    ).all()
    return dict(rows)
