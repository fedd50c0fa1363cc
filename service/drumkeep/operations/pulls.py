"""Pull lists: pick ready drums for a crew, tick them off, swap what is ready no more."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from drumkeep.domain.products import OutputClass, Side
from drumkeep.domain.pulls import (
    LATEST,
    MOST_LOOKED_AT,
    MOST_SETS,
    Candidate,
    Missing,
    nearest,
)
from drumkeep.errors import Conflict, Fault, Invalid, NotFound
from drumkeep.operations.drums import By, drum_tagged
from drumkeep.operations.products import product_named
from drumkeep.operations.pull_choices import Search, instead_of, missing_of, stand
from drumkeep.operations.pull_outlook import Standing
from drumkeep.operations.sites import site_named
from drumkeep.storage import catalogue
from drumkeep.storage import pulls as rows
from drumkeep.storage.catalogue import add
from drumkeep.storage.drums import list_drums
from drumkeep.storage.tables.catalogue import Product, Site
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.pulls import Pull, PullDrum
from drumkeep.storage.transaction import Tx

_NO_OTHER: Final = "No other drum of this product is ready in time: leave it, and tell the manager."
_NONE_OF_MANY: Final = (
    f"None of the {MOST_LOOKED_AT} drums that were looked at is ready in time: leave it, and tell"
    " the manager."
)
_LOOK_AT_STOCK: Final = "Look at the stock: when drums will be ready, and on which list they are."
_ASK_SOONER: Final = (
    f"Only {MOST_LOOKED_AT} drums of a side are computed ahead: ask for drums that are ready now."
)
_IS: Final = {"iso": "is iso", "resin": "is resin"}

DONE: Final = "done"
DROPPED: Final = "dropped"


class WrongDrum(Conflict):
    """A drum that is not to be taken; ``instead`` is the one that is, if there is any.

    ``swaps``: the drum is on the list, and ``instead`` may take its place there.
    """

    def __init__(
        self, title: str, fault: Fault, *, instead: Candidate | None = None, swaps: bool = False
    ) -> None:
        super().__init__(title, [fault])
        self.instead = instead
        self.swaps = swaps


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What is asked for; site and products by their codes, ``wanted_at`` None for at once."""

    client_id: UUID
    site: str
    iso: str
    resin: str
    sets: int
    output: OutputClass | None = None
    wanted_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A drum of a list; ``standing`` says whether it is ready in time, as of now."""

    row: PullDrum
    standing: Standing

    @property
    def candidate(self) -> Candidate:
        """The drum."""
        return self.standing.candidate


@dataclass(frozen=True, slots=True, kw_only=True)
class SideNow:
    """One side of a list; ``missing`` None where nothing is, or the list is closed."""

    product: Product
    lines: Sequence[Line]
    missing: Missing | None

    @property
    def mixed(self) -> bool:
        """Whether it holds more than one lot."""
        return len({line.candidate.lot_id for line in self.lines}) > 1


@dataclass(frozen=True, slots=True, kw_only=True)
class PullNow:
    """A list with how its drums stand now."""

    pull: Pull
    site: Site
    sides: Mapping[Side, SideNow]


def make_pull(tx: Tx, *, order: Order, by: By, now: datetime) -> Pull:
    """Pick drums that are ready in time, and keep the list; the same id again gives the same one.

    Raises
    ------
    Invalid
        What is asked for cannot be.
    Conflict
        No drum of either side is ready in time.
    """
    known = rows.pull_by_client(tx, client_id=order.client_id)
    if known is not None:
        return known
    site = site_named(tx, code=order.site)
    iso = _product(tx, order.iso, side=Side.ISO, field="iso")
    resin = _product(tx, order.resin, side=Side.RESIN, field="resin")
    _refuse_what_cannot_be(order, iso=iso, resin=resin, now=now)
    pull = add(
        tx,
        Pull(
            client_id=order.client_id,
            site_id=site.id,
            iso_id=iso.id,
            resin_id=resin.id,
            output=(order.output or OutputClass(site.output_class)).value,
            sets=order.sets,
            wanted_at=order.wanted_at,
            made_at=now,
            account_id=by.account_id,
            by=by.name,
        ),
    )
    picked, unlooked = _fill(tx, pull, now=now)
    if not picked:
        mend = _ASK_SOONER if unlooked else _LOOK_AT_STOCK
        fault = Fault("sets", order.sets, "of which no drum of either side is ready in time", mend)
        raise Conflict("There is no drum to take.", [fault])
    return pull


def fill_pull(tx: Tx, *, pull_id: int, now: datetime) -> Pull:
    """Look anew for what is missing on a list.

    Raises
    ------
    NotFound
        There is no such list.
    Conflict
        It is closed.
    """
    pull = _open_pull(tx, pull_id)
    _fill(tx, pull, now=now)
    return pull


def take_drum(tx: Tx, *, pull_id: int, tag: str, by: By, now: datetime) -> PullDrum:
    """Tick a drum off as taken; again is no harm.

    Raises
    ------
    NotFound
        There is no such list, or no such drum.
    WrongDrum
        It is not on the list, or not ready in time; the drum to take instead is named.
    Conflict
        The list is closed.
    """
    pull = _open_pull(tx, pull_id)
    drum = drum_tagged(tx, tag=tag)
    line = next((d for d in _drums(tx, pull) if d.drum_id == drum.id), None)
    if line is None:
        raise _not_listed(tx, pull, drum, now=now)
    if line.taken_at is not None:
        return line
    (standing,) = stand(tx, pull, [drum.id], now=now)
    if standing.hindrance is not None:
        instead, unlooked = instead_of(tx, pull, standing, now=now)
        mend = (
            _no_other(unlooked)
            if instead is None
            else f"Swap it for {instead.tag}, lot {instead.lot}."
        )
        fault = Fault("tag", drum.tag, "is not ready in time", f"{standing.reason} {mend}".strip())
        raise WrongDrum("Do not take this drum.", fault, instead=instead, swaps=instead is not None)
    line.taken_at, line.taken_by = now, by.name
    return add(tx, line)


def put_back(tx: Tx, *, pull_id: int, tag: str) -> PullDrum:
    """Take back that a drum was ticked off.

    Raises
    ------
    NotFound
        There is no such list, or the drum is not on it.
    Conflict
        The list is closed.
    """
    line = _line(tx, _open_pull(tx, pull_id), tag)
    line.taken_at = line.taken_by = None
    return add(tx, line)


def swap_drum(tx: Tx, *, pull_id: int, tag: str, by: By, now: datetime) -> PullDrum:
    """Put the nearest ready drum of the same product in the place of one on the list.

    Raises
    ------
    NotFound
        There is no such list, or the drum is not on it.
    Conflict
        The list is closed, the drum was taken, or there is none to take instead.
    """
    pull = _open_pull(tx, pull_id)
    line = _line(tx, pull, tag)
    if line.taken_at is not None:
        fault = Fault("tag", tag, "was ticked off", "Put it back first.")
        raise Conflict("It was taken already.", [fault])
    (standing,) = stand(tx, pull, [line.drum_id], now=now)
    instead, unlooked = instead_of(tx, pull, standing, now=now)
    if instead is None:
        mend = _no_other(unlooked)
        fault = Fault("tag", tag, "has no ready drum to take its place", mend)
        raise Conflict("There is no other drum.", [fault])
    line.left_at, line.left_by = now, by.name
    add(tx, line)
    return add(tx, PullDrum(pull_id=pull.id, drum_id=instead.drum_id, picked_at=now))


def close_pull(tx: Tx, *, pull_id: int, done: bool, by: By, now: datetime) -> Pull:
    """Close a list: its drums are free for others; again is no harm.

    Raises
    ------
    NotFound
        There is no such list.
    """
    pull = pull_at(tx, pull_id=pull_id)
    if pull.closed_at is None:
        pull.closed_at, pull.closed_by = now, by.name
        pull.closed_as = DONE if done else DROPPED
        add(tx, pull)
    return pull


def pull_now(tx: Tx, *, pull_id: int, now: datetime) -> PullNow:
    """Return a list with how each of its drums stands, and what is missing.

    Raises
    ------
    NotFound
        There is no such list.
    """
    pull = pull_at(tx, pull_id=pull_id)
    lines = _drums(tx, pull)
    standing = {
        one.row.drum.id: one for one in stand(tx, pull, [d.drum_id for d in lines], now=now)
    }
    products = catalogue.products_by_id(tx, ids=[pull.iso_id, pull.resin_id])
    sides = {}
    for side, product_id in _sides(pull).items():
        own = [
            Line(row=line, standing=standing[line.drum_id])
            for line in lines
            if standing[line.drum_id].row.product.id == product_id
        ]
        missing = None
        if pull.closed_at is None and len(own) < pull.sets:
            lots = [line.candidate.lot_id for line in own]
            count = pull.sets - len(own)
            missing = missing_of(tx, pull, product_id, count=count, lots=lots, now=now)
        sides[side] = SideNow(product=products[product_id], lines=own, missing=missing)
    site = catalogue.sites_by_id(tx, ids=[pull.site_id])[pull.site_id]
    return PullNow(pull=pull, site=site, sides=sides)


def pull_at(tx: Tx, *, pull_id: int) -> Pull:
    """Return the list that an address names.

    Raises
    ------
    NotFound
        There is none.
    """
    pull = rows.pull_by_id(tx, pull_id=pull_id)
    if pull is None:
        fault = Fault("id", pull_id, "is not known", "Take an id from the list of pull lists.")
        raise NotFound("There is no such pull list.", [fault])
    return pull


def _open_pull(tx: Tx, pull_id: int) -> Pull:
    pull = pull_at(tx, pull_id=pull_id)
    if pull.closed_at is not None:
        fault = Fault("id", pull_id, "is closed", "Make another list.")
        raise Conflict("The pull list is closed.", [fault])
    return pull


def _product(tx: Tx, code: str, *, side: Side, field: str) -> Product:
    product = product_named(tx, code=code, field=field)
    if product.side != side:
        fault = Fault(field, code, _IS[product.side], f"Name a product of the {side} side.")
        raise Invalid("That is the other side.", [fault])
    return product


def _refuse_what_cannot_be(order: Order, *, iso: Product, resin: Product, now: datetime) -> None:
    faults = []
    if not 1 <= order.sets <= MOST_SETS:
        faults.append(
            Fault("sets", order.sets, "is out of range", f"Ask for 1 to {MOST_SETS} sets.")
        )
    if order.wanted_at is not None and order.wanted_at <= now:
        faults.append(
            Fault("wanted_at", order.wanted_at.isoformat(), "is over", "Leave it out for: at once.")
        )
    elif order.wanted_at is not None and order.wanted_at > now + LATEST:
        mend = "Nothing is computed further than four days ahead: make the list nearer to the time."
        faults.append(Fault("wanted_at", order.wanted_at.isoformat(), "is too far ahead", mend))
    if iso.system is not None and resin.system is not None and iso.system != resin.system:
        mend = f"Name a resin of system {iso.system}: the two sides do not go together."
        faults.append(Fault("resin", resin.code, f"is of system {resin.system}", mend))
    if faults:
        raise Invalid("The pull list cannot be made.", faults)


def _sides(pull: Pull) -> dict[Side, int]:
    return {Side.ISO: pull.iso_id, Side.RESIN: pull.resin_id}


def _drums(tx: Tx, pull: Pull) -> Sequence[PullDrum]:
    return rows.drums_on(tx, pull_ids=[pull.id])


def _line(tx: Tx, pull: Pull, tag: str) -> PullDrum:
    drum = drum_tagged(tx, tag=tag)
    line = next((d for d in _drums(tx, pull) if d.drum_id == drum.id), None)
    if line is None:
        fault = Fault("tag", drum.tag, "is not on this list", "Take a tag from the list.")
        raise NotFound("The drum is not on this list.", [fault])
    return line


def _fill(tx: Tx, pull: Pull, *, now: datetime) -> tuple[int, int]:
    """Put ready drums onto a list until it is full.

    Return how many, and how many that may be ready were not looked at.
    """
    there = stand(tx, pull, [line.drum_id for line in _drums(tx, pull)], now=now)
    picked = unlooked = 0
    for product_id in _sides(pull).values():
        own = [one for one in there if one.row.product.id == product_id]
        count = pull.sets - len(own)
        if count <= 0:
            continue
        search = Search(tx, pull, product_id, now)
        chosen = search.pick(count=count, lots=[one.candidate.lot_id for one in own])
        unlooked += search.unlooked
        for drum in chosen:
            add(tx, PullDrum(pull_id=pull.id, drum_id=drum.drum_id, picked_at=now))
        picked += len(chosen)
    return picked, unlooked


def _not_listed(tx: Tx, pull: Pull, drum: Drum, *, now: datetime) -> WrongDrum:
    """Refuse a drum that is not on the list, naming the one that is meant."""
    (row,) = list_drums(tx, among=[drum.id], present=False, limit=None)
    lines = _drums(tx, pull)
    open_ids = [line.drum_id for line in lines if line.taken_at is None]
    waiting = [
        one.candidate
        for one in stand(tx, pull, open_ids, now=now)
        if one.hindrance is None and one.row.product.side == row.product.side
    ]
    instead = nearest(waiting, lot_id=row.lot.id, place_id=row.place.id)
    problem = f"is {row.product.side}, and not on this list"
    if instead is None:
        mend = "Leave it: no drum of this side is left to take."
    else:
        mend = f"Take {instead.tag}, lot {instead.lot}."
    return WrongDrum("Wrong drum.", Fault("tag", drum.tag, problem, mend), instead=instead)


def _no_other(unlooked: int) -> str:
    return _NONE_OF_MANY if unlooked else _NO_OTHER
