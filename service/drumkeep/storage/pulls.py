"""Queries on pull lists, and on the drums that might stand on one."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from sqlalchemy import ColumnElement, Select, case, func, true
from sqlalchemy import select as select_rows
from sqlmodel import col, select

from drumkeep.domain.outlook import STEP_S
from drumkeep.domain.pulls import Turn
from drumkeep.domain.readiness import Answer, Readiness
from drumkeep.storage.tables.catalogue import Lot, Place
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.estimates import Glance
from drumkeep.storage.tables.pulls import Pull, PullDrum
from drumkeep.storage.transaction import Tx

_READY: Final = Answer.READY.value
_NOT_YET: Final = Answer.NOT_YET.value
_WAITING: Final = (Readiness.TOO_COLD.value, Readiness.TOO_WARM.value)
_OUTLOOK_STEP_MS: Final = int(STEP_S * 1000)
"""The outlook's times are so far apart: what is ready by one may be ready a step before it."""


def pull_by_id(tx: Tx, *, pull_id: int) -> Pull | None:
    """Return a list."""
    return tx.session.get(Pull, pull_id)


def pull_by_client(tx: Tx, *, client_id: UUID) -> Pull | None:
    """Return the list that a client made under this id."""
    return tx.session.exec(select(Pull).where(Pull.client_id == client_id)).one_or_none()


def pulls(tx: Tx, *, open_only: bool, before: int | None = None, limit: int) -> Sequence[Pull]:
    """Return lists, the latest first, before an id if asked."""
    statement = select(Pull)
    if open_only:
        statement = statement.where(col(Pull.closed_at).is_(None))
    if before is not None:
        statement = statement.where(Pull.id < before)
    return tx.session.exec(statement.order_by(col(Pull.id).desc()).limit(limit)).all()


def drums_on(tx: Tx, *, pull_ids: Sequence[int]) -> Sequence[PullDrum]:
    """Return what stands on lists, in the order of picking."""
    return tx.session.exec(
        select(PullDrum)
        .where(col(PullDrum.pull_id).in_(pull_ids), col(PullDrum.left_at).is_(None))
        .order_by(col(PullDrum.id))
    ).all()


def lists_of(tx: Tx, *, drum_ids: Sequence[int]) -> list[tuple[PullDrum, Pull]]:
    """Return on which lists drums stand or stood, unless others took their place; oldest first."""
    statement = (
        select(PullDrum, Pull)
        .join(Pull, col(Pull.id) == col(PullDrum.pull_id))
        .where(col(PullDrum.drum_id).in_(drum_ids), col(PullDrum.left_at).is_(None))
        .order_by(col(PullDrum.id))
    )
    return list(tx.session.exec(statement).all())


def on_open_lists() -> Select[Any]:
    """Return the ids of all drums on open lists."""
    return (
        select_rows(col(PullDrum.drum_id))
        .join(Pull, col(Pull.id) == col(PullDrum.pull_id))
        .where(col(Pull.closed_at).is_(None), col(PullDrum.left_at).is_(None))
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Among:
    """Drums among which is chosen: the present ones of a product on a site that no list holds.

    Attributes
    ----------
    output
        The output class for which they are judged.
    since
        What was last computed before this grid step is not known now.
    by_ms
        When they are wanted, epoch ms; None for at once.
    """

    site_id: int
    product_id: int
    output: str
    since: int
    by_ms: int | None = None

    @property
    def lasts(self) -> ColumnElement[bool]:
        """Whether shelf life goes on beyond the time wanted."""
        if self.by_ms is None:
            return true()
        return col(Glance.ends_ms).is_(None) | (col(Glance.ends_ms) > self.by_ms)

    @property
    def hopeful(self) -> ColumnElement[bool]:
        """Whether a drum may be ready in time, by what lists tell of it; NULL: it is not."""
        may = col(Glance.answer) == _READY
        if self.by_ms is not None:
            warms = col(Glance.soonest_ms) <= self.by_ms + _OUTLOOK_STEP_MS
            may |= (col(Glance.answer) == _NOT_YET) & col(Glance.state).in_(_WAITING) & warms
        return (col(Glance.step) >= self.since) & may & self.lasts


@dataclass(frozen=True, slots=True)
class Unready:
    """Drums that are alike in what keeps them from being ready in time.

    ``state`` None: not computed yet. ``fresh``: computed lately; ``lasts``: beyond the time wanted.
    """

    state: str | None
    answer: str | None
    fresh: bool
    lasts: bool
    count: int


def turns(tx: Tx, *, among: Among, near: tuple[int, int] | None = None) -> list[Turn]:
    """Return the drums that may be ready in time, those whose turn comes first before others.

    ``near``, the ids of a lot and of a place: those of the lot, and of these those of the place,
    come before all others.
    """
    nearest = () if near is None else (col(Lot.id) != near[0], col(Place.id) != near[1])
    rows = tx.session.execute(
        _free(select_rows(col(Drum.id), col(Lot.id)), among)
        .where(among.hopeful)
        .order_by(*nearest, col(Lot.made_on), col(Lot.code), col(Drum.net_kg), col(Drum.tag))
    )
    return [Turn(*row) for row in rows]


def unready(tx: Tx, *, among: Among) -> list[Unready]:
    """Count the drums that cannot be ready in time, by what is against it."""
    fresh = case((col(Glance.step) >= among.since, 1), else_=0)
    lasts = case((among.lasts, 1), else_=0)
    alike = (col(Glance.state), col(Glance.answer), fresh, lasts)
    rows = tx.session.execute(
        _free(select_rows(*alike, func.count()), among)
        .where(_not(among.hopeful))
        .group_by(*alike)
        .order_by(*alike)
    )
    return [Unready(state, answer, bool(f), bool(k), count) for state, answer, f, k, count in rows]


def soonest(tx: Tx, *, among: Among, limit: int) -> list[tuple[int, str | None]]:
    """Return when (epoch ms) the first of the unready ones could be, and in which warm room."""
    rows = tx.session.execute(
        _free(select_rows(col(Glance.soonest_ms), col(Glance.soonest_in)), among)
        .where(
            _not(among.hopeful),
            col(Glance.step) >= among.since,
            col(Glance.state).in_(_WAITING),
            col(Glance.soonest_ms).is_not(None),
            among.lasts,
        )
        .order_by(col(Glance.soonest_ms), col(Drum.tag))
        .limit(limit)
    )
    return [(ms, room) for ms, room in rows]


def on_other_lists(tx: Tx, *, among: Among, pull_id: int) -> int:
    """Count the drums of the product that other open lists hold."""
    held = on_open_lists().where(col(Pull.id) != pull_id)
    counted = _there(select_rows(func.count()), among).where(col(Drum.id).in_(held))
    return int(tx.session.execute(counted).scalar_one())


def _free(statement: Any, among: Among) -> Any:  # noqa: ANN401 - a Select of whatever columns
    return (
        _there(statement, among)
        .outerjoin(
            Glance, (col(Glance.drum_id) == col(Drum.id)) & (col(Glance.output) == among.output)
        )
        .where(col(Drum.id).not_in(on_open_lists()))
    )


def _there(statement: Any, among: Among) -> Any:  # noqa: ANN401 - the same
    return (
        statement.select_from(Drum)
        .join(Place, col(Place.id) == col(Drum.place_id))
        .join(Lot, col(Lot.id) == col(Drum.lot_id))
        .where(
            col(Drum.ended).is_(None),
            col(Place.site_id) == among.site_id,
            col(Lot.product_id) == among.product_id,
        )
    )


def _not(condition: ColumnElement[bool]) -> ColumnElement[bool]:
    """Return what is so where a condition is false or NULL."""
    return case((condition, 1), else_=0) == 0
