"""What is in stock: counted by site, place and lot; how many sets; the next to use."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from drumkeep.domain.grid import from_ms, step_at, to_ms
from drumkeep.domain.products import OutputClass, Side
from drumkeep.domain.products import Product as Rules
from drumkeep.domain.pulls import FRESH
from drumkeep.domain.sets import Sets, SideCount, sets_of
from drumkeep.operations.ground import Premises, read_premises
from drumkeep.operations.prices import Prices, read_prices
from drumkeep.operations.shelf_air import ShelfAir, read_shelf_airs
from drumkeep.storage import catalogue, glances
from drumkeep.storage import stock as rows
from drumkeep.storage.products import as_product
from drumkeep.storage.stock import Group, NextDrum
from drumkeep.storage.tables.catalogue import Lot, Place, Product, Site
from drumkeep.storage.transaction import Tx

EXPIRING_DAYS: Final = 30
LONGEST_DAYS: Final = 3650

PARTIAL_SHARE: Final = 0.95
"""A drum with less than this share of what its product's drums hold is a partial: scales and fills
differ by some per cent (our judgement, no source)."""

NEXT_AT_ONCE: Final = 12
_BY_HOUR: Final = 6


@dataclass(frozen=True, slots=True)
class StockLine:
    """Present drums of one lot in one place.

    ``may_leave``: of those ready now, how many may not be by the time told: the air there may take
    them out of their use band, their shelf life ends before, or they must be mixed again. They are
    not counted in ``ready_by``.
    """

    site: Site
    place: Place
    lot: Lot
    product: Product
    counted: Group
    may_leave: int
    per_kg: float | None

    @property
    def ready_by(self) -> int:
        """How many will be ready by the time told if nothing is done."""
        return self.counted.ready - self.may_leave + self.counted.soon

    @property
    def usable(self) -> int:
        """How many nothing but temperature or not knowing stands against."""
        return self.counted.count - self.counted.on_hold

    @property
    def cost(self) -> float | None:
        """What is there costs, in the company's currency; None where no price is on record."""
        return None if self.per_kg is None else self.per_kg * self.counted.net_kg


@dataclass(frozen=True, slots=True)
class Money:
    """A sum over drums, and how many of them have no price on record and are not in it."""

    amount: float
    unpriced: int


@dataclass(frozen=True, slots=True)
class StockNow:
    """What is in stock; ``by`` is tomorrow 06:00 of each site, by site id."""

    lines: Sequence[StockLine]
    next: Sequence[tuple[NextDrum, Place, Lot, Product]]
    by: Mapping[int, datetime]
    days: int
    computed_at: datetime | None
    sets_now: Sets
    sets_by: Sets
    sets_usable: Sets
    cost: Money
    expired_cost: Money

    def total(self, name: str) -> int:
        """Return the sum of one of the counts."""
        return sum(int(getattr(line.counted, name)) for line in self.lines)

    @property
    def may_leave(self) -> int:
        """How many are ready now and perhaps not by the time told."""
        return sum(line.may_leave for line in self.lines)

    @property
    def ready_by(self) -> int:
        """How many will be ready by the time told if nothing is done."""
        return sum(line.ready_by for line in self.lines)


def stock_now(tx: Tx, *, site_id: int | None = None, days: int, now: datetime) -> StockNow:
    """Count the stock, of one site if asked.

    Parameters
    ----------
    tx
        Any transaction.
    site_id
        Which site; by default all.
    days
        What ends its shelf life within so many days is expiring.
    now
        The present, UTC.
    """
    premises = read_premises(tx)
    by = {site.id: tomorrow_at_six(site, now=now) for site in premises.sites.values()}
    products = {row.id: row for row in catalogue.list_products(tx, limit=10_000)}
    rules = {row.id: as_product(row) for row in products.values()}
    now_ms, since = to_ms(now), step_at(now - FRESH)
    counted = rows.groups(
        tx,
        asked=rows.Asked(
            now_ms=now_ms,
            since=since,
            until_ms=to_ms(now + timedelta(days=days)),
            by_ms={site: to_ms(at) for site, at in by.items()},
            full_kg={row: product.properties.net_kg for row, product in rules.items()},
            partial_share=PARTIAL_SHARE,
            mixed_if_before={
                row: before
                for row, product in rules.items()
                if (before := _mixed_if_before(product, by=max(by.values(), default=now)))
            },
            site_id=site_id,
        ),
    )
    upcoming = [
        drum
        for side in Side
        for drum in rows.next_to_use(
            tx, side=side.value, now_ms=now_ms, since=since, site_id=site_id, limit=NEXT_AT_ONCE
        )
    ]
    lots = catalogue.lots_by_id(
        tx, ids=[g.lot_id for g in counted] + [drum.lot_id for drum in upcoming]
    )
    computed_ms, newest = glances.computed(tx)
    airs = read_shelf_airs(
        tx,
        place_ids=sorted({g.place_id for g in counted if g.ready}),
        step=step_at(now) if newest is None else newest,
    )
    prices = read_prices(tx)
    lines = sorted(
        (
            _line(
                group,
                premises=premises,
                lot=lots[group.lot_id],
                product=products[lots[group.lot_id].product_id],
                air=airs.get(group.place_id),
                by=by,
                prices=prices,
            )
            for group in counted
        ),
        key=lambda line: (
            line.product.side,
            line.product.name,
            line.lot.made_on,
            line.lot.code,
            line.site.name,
            line.place.name,
        ),
    )
    return StockNow(
        lines=lines,
        next=[
            (
                drum,
                premises.places[drum.place_id],
                lots[drum.lot_id],
                products[lots[drum.lot_id].product_id],
            )
            for drum in upcoming
        ],
        by=by,
        days=days,
        computed_at=None if computed_ms is None else from_ms(computed_ms),
        sets_now=_sets(lines, lambda line: line.counted.ready),
        sets_by=_sets(lines, lambda line: line.ready_by),
        sets_usable=_sets(lines, lambda line: line.usable),
        cost=_money((line.cost, line.counted.count) for line in lines),
        expired_cost=_money(
            (
                None if line.per_kg is None else line.per_kg * line.counted.expired_kg,
                line.counted.expired,
            )
            for line in lines
        ),
    )


def tomorrow_at_six(site: Site, *, now: datetime) -> datetime:
    """Return 06:00 of the next day by the site's own clock."""
    today = now.astimezone(ZoneInfo(site.timezone))
    return (today + timedelta(days=1)).replace(hour=_BY_HOUR, minute=0, second=0, microsecond=0)


def _line(
    group: Group,
    *,
    premises: Premises,
    lot: Lot,
    product: Product,
    air: ShelfAir | None,
    by: Mapping[int, datetime],
    prices: Prices,
) -> StockLine:
    place = premises.places[group.place_id]
    site = premises.sites[place.site_id]
    # sun and the night sky make liquid hotter or colder than the air
    stays = not place.sun and _stays(air, product=product, by_ms=to_ms(by[site.id]))
    return StockLine(
        site=site,
        place=place,
        lot=lot,
        product=product,
        counted=group,
        may_leave=group.lapsing if stays else group.ready,
        per_kg=prices.per_kg(lot, product),
    )


def _mixed_if_before(product: Rules, *, by: datetime) -> datetime | None:
    """Return before which time a drum was received if it must be mixed before use at a time.

    A mixing holds for a day, so one on record may have run out by then.
    """
    limits = product.limits
    if limits.agitate_before_use_min:
        return by
    days = limits.agitate_if_stored_days
    return by - timedelta(days=days) if days else None


def _stays(air: ShelfAir | None, *, product: Product, by_ms: int) -> bool:
    """Tell whether what is in the use band now is sure to be in it at a time.

    Liquid lies between what it was and the air about it, so it stays where all air to come does.
    The band of the air is told for half a day, its next low and high for a day; of either output
    class the narrower use band is taken. What is not known does not stay.
    """
    if air is None or air.now_c is None:
        return False
    bands = [as_product(product).limits.use_band(output) for output in OutputClass]
    low, high = max(band[0] for band in bands), min(band[1] for band in bands)
    coming = [point for point in air.ahead if point[0] <= by_ms]
    lows = [air.now_c, *(point[2] for point in coming), *(() if air.low is None else air.low[:1])]
    highs = [
        air.now_c,
        *(point[3] for point in coming),
        *(() if air.high is None else air.high[:1]),
    ]
    return low <= min(lows) and max(highs) <= high


def _sets(lines: Sequence[StockLine], count: Callable[[StockLine], int]) -> Sets:
    return sets_of(
        SideCount(
            site=line.site.id,
            system=line.product.system,
            side=Side(line.product.side),
            count=count(line),
        )
        for line in lines
    )


def _money(costs: Iterable[tuple[float | None, int]]) -> Money:
    """Sum what has a price, and count the drums that have none."""
    amount, unpriced = 0.0, 0
    for cost, drums in costs:
        if cost is None:
            unpriced += drums
        else:
            amount += cost
    return Money(amount=amount, unpriced=unpriced)
