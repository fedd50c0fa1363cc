"""Queries on stock: counted in the database, so that ten thousand drums take no longer to read."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, and_, case, false, func, literal, not_, or_
from sqlalchemy import select as select_rows
from sqlmodel import col

from drumkeep.storage.tables.catalogue import Lot, Place, Product, Site
from drumkeep.storage.tables.drums import Drum, Event
from drumkeep.storage.tables.estimates import Glance
from drumkeep.storage.transaction import Tx

_NEVER_MS: Final = 2**62


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is to be counted.

    Attributes
    ----------
    now_ms, until_ms
        What has ended by the one is expired, by the other expiring; epoch ms.
    by_ms
        Until when a drum is to be ready, epoch ms by site id.
    full_kg
        What a full drum holds, kg by product id.
    partial_share
        A drum with less than this share of it is a partial one.
    mixed_if_before
        Drums of a product (id) that were received before a time must be mixed before use.
    since
        What was last computed before this grid step is not known now, unless it is on hold.
    site_id
        Of one site only.
    """

    now_ms: int
    since: int
    until_ms: int
    by_ms: Mapping[int, int]
    full_kg: Mapping[int, float]
    partial_share: float
    mixed_if_before: Mapping[int, datetime]
    site_id: int | None = None


@dataclass(frozen=True, slots=True)
class Group:
    """Present drums of one lot in one place, counted.

    ``ready`` now, of which ``lapsing`` may not be in time: they end before, or must be mixed again.
    ``soon`` not now, but in time where they stand; ``soon_moved`` if they are taken into their warm
    room now; ``soon_mixed`` if they are mixed besides. ``expired``, ``expiring``: by their own end
    of shelf life.
    """

    place_id: int
    lot_id: int
    count: int
    net_kg: float
    ready: int
    lapsing: int
    soon: int
    soon_moved: int
    soon_mixed: int
    unknown: int
    on_hold: int
    partial: int
    expired: int
    expired_kg: float
    expiring: int
    undated: int
    ends_ms: int | None


@dataclass(frozen=True, slots=True)
class NextDrum:
    """A drum that may be used, with what decides when its turn is."""

    drum_id: int
    tag: str
    place_id: int
    lot_id: int
    net_kg: float
    state: str
    ends_ms: int | None
    soonest_ms: int | None
    soonest_in: str | None


@dataclass(frozen=True, slots=True)
class Ended:
    """A drum that was disposed of, or emptied for a reason."""

    drum_id: int
    tag: str
    lot_id: int
    site_id: int


@dataclass(frozen=True, slots=True)
class Expired:
    """A present drum past its shelf life."""

    tag: str
    lot_id: int
    site_id: int
    net_kg: float
    ends_ms: int


def groups(tx: Tx, *, asked: Asked) -> list[Group]:
    """Count present drums by place and lot."""
    by_ms, state = _by_site(asked.by_ms), _state(asked.since)
    ends_first = col(Glance.ends_ms) <= by_ms
    mixed = or_(
        false(),
        *(
            and_(col(Lot.product_id) == product, col(Drum.received_at) < before)
            for product, before in asked.mixed_if_before.items()
        ),
    )
    in_time = and_(
        state.in_(("too_cold", "too_warm")), col(Glance.soonest_ms) <= by_ms, not_(ends_first)
    )
    expired = col(Glance.ends_ms) <= asked.now_ms
    full = _by_product(asked.full_kg)
    rows = tx.session.execute(
        _present(
            select_rows(
                col(Drum.place_id),
                col(Drum.lot_id),
                func.count(),
                func.sum(Drum.net_kg),
                _count(state == "ready"),
                _count(and_(state == "ready", or_(mixed, ends_first))),
                _count(and_(in_time, not_(mixed), col(Glance.soonest_in).is_(None))),
                _count(and_(in_time, not_(mixed), col(Glance.soonest_in).is_not(None))),
                _count(and_(in_time, mixed)),
                _count(state == "unknown"),
                _count(state == "on_hold"),
                _count(col(Drum.net_kg) < asked.partial_share * full),
                _count(expired),
                func.sum(case((expired, col(Drum.net_kg)), else_=0.0)),
                _count(
                    and_(col(Glance.ends_ms) > asked.now_ms, col(Glance.ends_ms) <= asked.until_ms)
                ),
                _count(col(Glance.ends_ms).is_(None)),
                func.min(Glance.ends_ms),
            ),
            site_id=asked.site_id,
        ).group_by(col(Drum.place_id), col(Drum.lot_id))
    )
    return [Group(*row) for row in rows]


def next_to_use(
    tx: Tx, *, side: str, now_ms: int, since: int, site_id: int | None = None, limit: int
) -> list[NextDrum]:
    """Return drums of a side that may be used, the oldest lot first, of equals the partial.

    None that was last computed before the grid step ``since``.
    """
    state = _state(since)
    statement = _present(
        select_rows(
            col(Drum.id),
            col(Drum.tag),
            col(Drum.place_id),
            col(Drum.lot_id),
            col(Drum.net_kg),
            state,
            col(Glance.ends_ms),
            col(Glance.soonest_ms),
            col(Glance.soonest_in),
        ),
        site_id=site_id,
    )
    rows = tx.session.execute(
        statement.where(
            col(Product.side) == side,
            state.in_(("ready", "too_cold", "too_warm")),
            or_(col(Glance.ends_ms).is_(None), col(Glance.ends_ms) > now_ms),
        )
        .order_by(
            func.coalesce(col(Glance.ends_ms), _NEVER_MS) // 86_400_000,
            col(Lot.made_on),
            col(Drum.net_kg),
            col(Drum.tag),
        )
        .limit(limit)
    )
    return [NextDrum(*row) for row in rows]


def ended(tx: Tx, *, since: datetime, site_id: int | None = None) -> list[Ended]:
    """Return drums that were disposed of, or emptied for a reason, recorded since a time."""
    reasoned = col(Event.data)["reason"].as_string().is_not(None)
    statement = (
        select_rows(col(Drum.id), col(Drum.tag), col(Drum.lot_id), col(Place.site_id))
        .join(Event, col(Event.drum_id) == col(Drum.id))
        .join(Place, col(Place.id) == col(Drum.place_id))
        .where(
            col(Drum.ended) == col(Event.kind),
            or_(col(Event.kind) == "disposed", and_(col(Event.kind) == "emptied", reasoned)),
            col(Event.at) >= since,
        )
        .distinct()
    )
    if site_id is not None:
        statement = statement.where(col(Place.site_id) == site_id)
    return [Ended(*row) for row in tx.session.execute(statement.order_by(col(Drum.id)))]


def expired(tx: Tx, *, now_ms: int, site_id: int | None = None) -> list[Expired]:
    """Return the present drums past their shelf life, the longest past first."""
    statement = _present(
        select_rows(
            col(Drum.tag),
            col(Drum.lot_id),
            col(Place.site_id),
            col(Drum.net_kg),
            col(Glance.ends_ms),
        ),
        site_id=site_id,
    )
    rows = tx.session.execute(
        statement.where(col(Glance.ends_ms) <= now_ms).order_by(col(Glance.ends_ms), col(Drum.tag))
    )
    return [Expired(*row) for row in rows]


def _present(statement: Any, *, site_id: int | None) -> Any:  # noqa: ANN401 - a Select of any columns
    """Ask for present drums with their glance for the output class that counts."""
    output = func.coalesce(col(Drum.wanted_output), col(Site.output_class))
    narrowed = (
        statement.select_from(Drum)
        .join(Place, col(Place.id) == col(Drum.place_id))
        .join(Site, col(Site.id) == col(Place.site_id))
        .join(Lot, col(Lot.id) == col(Drum.lot_id))
        .join(Product, col(Product.id) == col(Lot.product_id))
        .outerjoin(Glance, (col(Glance.drum_id) == col(Drum.id)) & (col(Glance.output) == output))
        .where(col(Drum.ended).is_(None))
    )
    return narrowed if site_id is None else narrowed.where(col(Place.site_id) == site_id)


def _state(since: int) -> ColumnElement[Any]:
    """Return a drum's readiness; of one that was not computed lately nobody knows it."""
    old = and_(col(Glance.state) != "on_hold", col(Glance.step) < since)
    return case((old, "unknown"), else_=func.coalesce(col(Glance.state), "unknown"))


def _count(condition: ColumnElement[bool]) -> ColumnElement[Any]:
    return func.sum(case((condition, 1), else_=0))


def _by_site(values: Mapping[int, int]) -> ColumnElement[Any]:
    return _chosen(col(Place.site_id), values, otherwise=0)


def _by_product(values: Mapping[int, float]) -> ColumnElement[Any]:
    return _chosen(col(Lot.product_id), values, otherwise=0.0)


def _chosen(
    column: Any,  # noqa: ANN401 - a column of ids
    values: Mapping[int, float],
    *,
    otherwise: float,
) -> ColumnElement[Any]:
    if not values:
        return literal(otherwise)
    return case(dict(values), value=column, else_=otherwise)
