"""Queries on what lists tell of drums: counts, orders, and the few rows that are shown."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from sqlalchemy import Select, case, exists, func, literal, or_, tuple_
from sqlalchemy import select as select_rows
from sqlmodel import col, delete, select

from drumkeep.domain.glances import GRAVITY
from drumkeep.storage.tables.catalogue import Lot, Place, Product, Site
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.estimates import Estimate, Glance, ShelfAir
from drumkeep.storage.transaction import Tx
from drumkeep.storage.upsert import upsert

_AT_ONCE: Final = 500

_STATE: Final = func.coalesce(col(Glance.state), "unknown")
_ANSWER: Final = func.coalesce(col(Glance.answer), "ASK")
_CONDITIONS: Final = func.coalesce(col(Glance.conditions), "")
_TOO_HOT: Final = func.coalesce(col(Glance.too_hot), literal(value=False))
_TURN: Final = func.coalesce(col(Glance.turn), 99)
_FILL: Final = func.coalesce(col(Glance.fill), 1.0)
_WARMEST: Final = 1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which present drums are asked for.

    Attributes
    ----------
    output
        Judged for this output class; by default each for the one wanted of it, else its site's.
    place_ids
        In these places only.
    side, lot, state
        Of this side, of the lots of this code, of this readiness.
    by_ms
        Ready by a time (epoch ms) of each site, by site id.
    """

    output: str | None = None
    place_ids: Sequence[int] | None = None
    side: str | None = None
    lot: str | None = None
    state: str | None = None
    by_ms: Mapping[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Tally:
    """Drums of one lot in one place that are alike in what is said of them."""

    place_id: int
    lot_id: int
    state: str
    answer: str
    conditions: str
    too_hot: bool
    soonest_in: str | None
    count: int
    bottom_c: float | None
    low_c: float | None
    high_c: float | None
    soonest_ms: int | None


@dataclass(frozen=True, slots=True)
class Glimpse:
    """One drum's short row; ``layers`` is its whole record where that was asked for."""

    drum_id: int
    tag: str
    place_id: int
    lot_id: int
    net_kg: float
    output: str
    state: str
    answer: str
    conditions: str
    too_hot: bool
    basis: str | None
    bottom_c: float | None
    mean_c: float | None
    low_c: float | None
    high_c: float | None
    soonest_ms: int | None
    soonest_in: str | None
    record: bytes | None = field(default=None, repr=False)


def put(tx: Tx, *, rows: Sequence[Glance], of: Sequence[int]) -> None:
    """Store the glances of drums; those of ``of`` without any are gone, and so are theirs."""
    there = {row.drum_id for row in rows}
    gone = [drum_id for drum_id in of if drum_id not in there]
    for start in range(0, len(gone), _AT_ONCE):
        tx.session.exec(delete(Glance).where(col(Glance.drum_id).in_(gone[start:][:_AT_ONCE])))
    upsert(tx, Glance, [row.model_dump() for row in rows])


def of_drum(tx: Tx, *, drum_id: int) -> Sequence[Glance]:
    """Return the glances of a drum, one of each output class; none of one that is gone."""
    return tx.session.exec(select(Glance).where(Glance.drum_id == drum_id)).all()


def put_shelf_airs(tx: Tx, *, told: Mapping[int, Any], step: int) -> None:
    """Store what is told of the air of places as of a grid step."""
    rows = [{"place_id": place, "step": step, "told": one} for place, one in sorted(told.items())]
    upsert(tx, ShelfAir, rows)


def shelf_airs(tx: Tx, *, place_ids: Sequence[int], since: int) -> dict[int, Any]:
    """Return what is told of the air of places, of what was made at a grid step or later."""
    rows = tx.session.execute(
        select_rows(col(ShelfAir.place_id), col(ShelfAir.told)).where(
            col(ShelfAir.place_id).in_(place_ids), col(ShelfAir.step) >= since
        )
    )
    return {place_id: told for place_id, told in rows}  # noqa: C416 - rows are no pairs to mypy


def computed(tx: Tx) -> tuple[int | None, int | None]:
    """Return when the oldest glance was computed (epoch ms), and the newest grid step."""
    oldest, newest = tx.session.execute(
        select_rows(func.min(Glance.computed_ms), func.max(Glance.step))
    ).one()
    return oldest, newest


def lot_codes(tx: Tx) -> list[str]:
    """Return the codes of lots of which any drum is there."""
    # Asked of each lot by the drums' index, instead of reading every drum for its lot.
    present = exists().where(col(Drum.lot_id) == col(Lot.id), col(Drum.ended).is_(None))
    found = tx.session.execute(select_rows(col(Lot.code)).where(present).distinct())
    return sorted(found.scalars())


def tallies(tx: Tx, *, wanted: Wanted) -> list[Tally]:
    """Count drums by place, lot and what is said of them; in each group the next to use first."""
    alike = (
        col(Drum.place_id),
        col(Drum.lot_id),
        _STATE,
        _ANSWER,
        _CONDITIONS,
        _TOO_HOT,
        col(Glance.soonest_in),
    )
    rows = tx.session.execute(
        _present(
            select_rows(
                *alike,
                func.count(),
                func.min(Glance.bottom_c),
                func.min(Glance.low_c),
                func.max(Glance.high_c),
                func.min(Glance.soonest_ms),
            ),
            wanted,
        )
        .group_by(*alike)
        .order_by(func.min(_TURN), func.min(_FILL), func.min(Drum.tag))
    )
    return [Tally(*row) for row in rows]


def gravest(tx: Tx, *, wanted: Wanted) -> list[Glimpse]:
    """Return of each lot in each place the gravest drum, of equals the coldest.

    What is told of them is read only once it is known which they are: ranking ten thousand whole
    rows takes half as long again.
    """
    rank = func.row_number().over(
        partition_by=(col(Drum.place_id), col(Drum.lot_id)),
        order_by=(
            func.coalesce(col(Glance.gravity), GRAVITY.index("unknown")),
            func.coalesce(col(Glance.low_c), _WARMEST),
            *_use_order(),
        ),
    )
    ranked = _present(select_rows(col(Drum.id).label("id"), rank.label("rank")), wanted).subquery()
    first = select_rows(ranked.c.id).where(ranked.c.rank == 1)
    rows = tx.session.execute(
        _present(select_rows(*_glimpse()), Wanted(output=wanted.output)).where(
            col(Drum.id).in_(first)
        )
    )
    return [Glimpse(*row) for row in rows]


def next_to_use(
    tx: Tx, *, wanted: Wanted, groups: Sequence[tuple[int, int]], limit: int
) -> list[Glimpse]:
    """Return the drums of groups (place id, lot id), of each the next to use first."""
    columns = (col(Drum.place_id), col(Drum.lot_id))
    statement = _present(select_rows(*_glimpse(), col(Estimate.state)), wanted)
    rows = tx.session.execute(
        statement.outerjoin(Estimate, col(Estimate.drum_id) == col(Drum.id))
        .where(tuple_(*columns).in_(groups))
        .order_by(*columns, *_use_order())
        .limit(limit)
    )
    return [Glimpse(*row) for row in rows]


SORTS: Final[Mapping[str, Sequence[Any]]] = {
    "tag": (),
    "side": (col(Product.side), col(Lot.code)),
    "lot": (col(Lot.code),),
    "place": (col(Site.name), col(Place.name), col(Lot.code)),
    "left": (col(Drum.net_kg),),
    "bottom": (func.coalesce(col(Glance.bottom_c), _WARMEST),),
    "mean": (func.coalesce(col(Glance.mean_c), _WARMEST),),
    "readiness": (case({name: -number for number, name in enumerate(GRAVITY)}, value=_STATE),),
    "ready_at": (
        case((_STATE == "ready", 0), else_=1),
        col(Glance.soonest_ms).is_(None),
        col(Glance.soonest_ms),
    ),
}
"""By what a list of drums may be sorted; of equals by tag."""


def page(
    tx: Tx, *, wanted: Wanted, sort: str, descending: bool, start: int, limit: int
) -> list[int]:
    """Return the ids of some drums in the order asked for."""
    order = [*SORTS[sort], col(Drum.tag)]
    statement = (
        _present(select_rows(col(Drum.id)), wanted)
        .join(Lot, col(Lot.id) == col(Drum.lot_id))
        .join(Product, col(Product.id) == col(Lot.product_id))
        .order_by(*(column.desc() if descending else column for column in order))
        .offset(start)
        .limit(limit)
    )
    return list(tx.session.execute(statement).scalars())


def nearest_ready(
    tx: Tx,
    *,
    drum: Drum,
    site_id: int,
    product_id: int,
    output: str,
    since: int,
    but: Select[Any],
) -> tuple[str, str] | None:
    """Return tag and place of a drum of the same product on the same site that is ready now.

    Of the same lot and place as far as may be, then of the oldest lot, then a partial one; none
    that was last computed before the grid step ``since``, and none of the ids that ``but`` gives.
    """
    found = tx.session.execute(
        select_rows(col(Drum.tag), col(Place.name))
        .join(Glance, col(Glance.drum_id) == col(Drum.id))
        .join(Place, col(Place.id) == col(Drum.place_id))
        .join(Lot, col(Lot.id) == col(Drum.lot_id))
        .where(
            col(Drum.ended).is_(None),
            col(Drum.id) != drum.id,
            col(Glance.output) == output,
            col(Glance.answer) == "READY",
            col(Glance.step) >= since,
            col(Drum.id).not_in(but),
            col(Place.site_id) == site_id,
            col(Lot.product_id) == product_id,
        )
        .order_by(
            col(Drum.lot_id) != drum.lot_id,
            col(Drum.place_id) != drum.place_id,
            col(Lot.made_on),
            col(Drum.net_kg),
            col(Drum.tag),
        )
        .limit(1)
    ).first()
    return None if found is None else (found[0], found[1])


def of_condition(condition: str) -> Select[Any]:
    """Return the ids of present drums of a condition; ``clear`` asks for those without any."""
    listed = literal(",").concat(col(Glance.conditions)).concat(",")
    clear = col(Glance.conditions) == ""
    is_so = clear if condition == "clear" else listed.like(f"%,{condition},%")
    return select_rows(col(Glance.drum_id)).where(is_so)


def of_state(state: str, *, output: str | None) -> Select[Any]:
    """Return the ids of present drums of a readiness, judged for an output class."""
    found: Select[Any] = _present(select_rows(col(Drum.id)), Wanted(state=state, output=output))
    return found


def _glimpse() -> tuple[Any, ...]:
    return (
        col(Drum.id),
        col(Drum.tag),
        col(Drum.place_id),
        col(Drum.lot_id),
        col(Drum.net_kg),
        func.coalesce(col(Drum.wanted_output), col(Site.output_class)).label("output"),
        _STATE.label("state"),
        _ANSWER.label("answer"),
        _CONDITIONS.label("conditions"),
        _TOO_HOT.label("too_hot"),
        col(Glance.basis),
        col(Glance.bottom_c),
        col(Glance.mean_c),
        col(Glance.low_c),
        col(Glance.high_c),
        col(Glance.soonest_ms),
        col(Glance.soonest_in),
    )


def _use_order() -> tuple[Any, ...]:
    return (_TURN, _FILL, col(Drum.tag))


def _present(statement: Any, wanted: Wanted) -> Any:  # noqa: ANN401 - a Select of whatever columns
    """Ask for the present drums that are wanted, each with its glance."""
    usual = func.coalesce(col(Drum.wanted_output), col(Site.output_class))
    output = usual if wanted.output is None else literal(wanted.output)
    narrowed = (
        statement.select_from(Drum)
        .join(Place, col(Place.id) == col(Drum.place_id))
        .join(Site, col(Site.id) == col(Place.site_id))
        .outerjoin(Glance, (col(Glance.drum_id) == col(Drum.id)) & (col(Glance.output) == output))
        .where(col(Drum.ended).is_(None))
    )
    if wanted.place_ids is not None:
        narrowed = narrowed.where(col(Drum.place_id).in_(wanted.place_ids))
    if wanted.side is not None or wanted.lot is not None:
        lots = select_rows(col(Lot.id)).join(Product, col(Product.id) == col(Lot.product_id))
        if wanted.side is not None:
            lots = lots.where(col(Product.side) == wanted.side)
        if wanted.lot is not None:
            lots = lots.where(col(Lot.code) == wanted.lot)
        narrowed = narrowed.where(col(Drum.lot_id).in_(lots))
    if wanted.state is not None:
        narrowed = narrowed.where(literal(wanted.state) == _STATE)
    if wanted.by_ms is not None:
        in_time = (
            (col(Site.id) == site) & (col(Glance.soonest_ms) <= ms)
            for site, ms in wanted.by_ms.items()
        )
        narrowed = narrowed.where(or_(_STATE == "ready", *in_time))
    return narrowed
