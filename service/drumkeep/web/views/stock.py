"""Stock as its pages show it: by product, lot and place; the next to use; losses and prices."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from typing import Final

from drumkeep.domain.grid import from_ms
from drumkeep.domain.quantities import LB_KG
from drumkeep.domain.sets import Sets
from drumkeep.operations.losses import Month
from drumkeep.operations.stock import Money, StockLine, StockNow
from drumkeep.storage import catalogue
from drumkeep.storage import prices as price_rows
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """So many drums of some kind, and what is said of them."""

    count: int
    net_kg: float
    ready: int
    ready_by: int
    moved: int
    mixed: int
    unknown: int
    may_leave: int
    on_hold: int
    partial: int
    expiring: int
    expired: int
    cost: float
    unpriced: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StockPlace:
    """Drums of one lot in one place; ``ends`` is the first of their last days."""

    place: str
    code: str
    site: str
    ends: datetime | None
    timezone: str
    counts: Counts


@dataclass(frozen=True, slots=True, kw_only=True)
class StockLot:
    """Drums of one lot, wherever they are."""

    code: str
    made_on: date
    places: tuple[StockPlace, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StockProduct:
    """Drums of one product."""

    code: str
    name: str
    side: str
    system: str | None
    counts: Counts
    lots: tuple[StockLot, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NextView:
    """A drum whose turn is next."""

    tag: str
    side: str
    product: str
    lot: str
    place: str
    net_kg: float
    state: str
    soonest: datetime | None
    soonest_in: str | None
    ends: datetime | None
    timezone: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StockView:
    """All that the stock page tells; ``by_place`` is (name, site, A drums, B drums)."""

    sites: tuple[tuple[str, str], ...]
    site: str
    days: int
    computed_at: datetime | None
    sets_now: Sets
    sets_by: Sets
    sets_usable: Sets
    totals: Counts
    sides: tuple[tuple[str, Counts], ...]
    products: tuple[StockProduct, ...]
    by_place: tuple[tuple[str, str, int, int], ...]
    next: tuple[NextView, ...]
    currency: str
    expired_cost: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceLine:
    """A product, or one lot of it, and its price; ``own`` whether it is its own."""

    product: str
    name: str
    side: str
    lot: str | None
    amount: float | None
    per: str
    own: bool
    since: datetime | None
    by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthView:
    """A month of losses, ``words`` its name."""

    words: str
    month: Month


_MONTHS: Final = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)


def stock_view(
    stock: StockNow, *, sites: Iterable[tuple[str, str]], site: str, currency: str
) -> StockView:
    """Return the stock as its page shows it."""
    sides: dict[str, list[StockLine]] = defaultdict(list)
    for line in stock.lines:
        sides[line.product.side].append(line)
    zones = {line.place.id: line.site.timezone for line in stock.lines}
    return StockView(
        sites=tuple(sites),
        site=site,
        days=stock.days,
        computed_at=stock.computed_at,
        sets_now=stock.sets_now,
        sets_by=stock.sets_by,
        sets_usable=stock.sets_usable,
        totals=_counts(stock.lines),
        sides=tuple((side, _counts(lines)) for side, lines in sorted(sides.items())),
        products=tuple(
            _product(lines) for lines in _grouped(stock.lines, lambda line: line.product.id)
        ),
        by_place=_by_place(stock.lines),
        next=tuple(
            NextView(
                tag=drum.tag,
                side=product.side,
                product=product.name,
                lot=lot.code,
                place=place.name,
                net_kg=drum.net_kg,
                state=drum.state,
                soonest=None if drum.soonest_ms is None else from_ms(drum.soonest_ms),
                soonest_in=drum.soonest_in,
                ends=None if drum.ends_ms is None else from_ms(drum.ends_ms),
                timezone=zones[place.id],
            )
            for drum, place, lot, product in stock.next
        ),
        currency=currency,
        expired_cost=stock.expired_cost,
    )


def _grouped(lines: Iterable[StockLine], key: Callable[[StockLine], int]) -> list[list[StockLine]]:
    """Group lines that stand together already."""
    return [list(some) for _, some in groupby(lines, key=key)]


def _product(lines: Sequence[StockLine]) -> StockProduct:
    first = lines[0].product
    return StockProduct(
        code=first.code,
        name=first.name,
        side=first.side,
        system=first.system,
        counts=_counts(lines),
        lots=tuple(
            StockLot(
                code=some[0].lot.code,
                made_on=some[0].lot.made_on,
                places=tuple(_place(line) for line in some),
            )
            for some in _grouped(lines, lambda line: line.lot.id)
        ),
    )


def _place(line: StockLine) -> StockPlace:
    ends_ms = line.counted.ends_ms
    return StockPlace(
        place=line.place.name,
        code=f"{line.site.code}/{line.place.code}",
        site=line.site.name,
        ends=None if ends_ms is None else from_ms(ends_ms),
        timezone=line.site.timezone,
        counts=_counts([line]),
    )


def _counts(lines: Sequence[StockLine]) -> Counts:
    def total(name: str) -> int:
        return sum(int(getattr(line.counted, name)) for line in lines)

    return Counts(
        count=total("count"),
        net_kg=sum(line.counted.net_kg for line in lines),
        ready=total("ready"),
        ready_by=sum(line.ready_by for line in lines),
        moved=total("soon_moved"),
        mixed=total("soon_mixed"),
        unknown=total("unknown"),
        may_leave=sum(line.may_leave for line in lines),
        on_hold=total("on_hold"),
        partial=total("partial"),
        expiring=total("expiring"),
        expired=total("expired"),
        cost=sum(line.cost for line in lines if line.cost is not None),
        unpriced=sum(line.counted.count for line in lines if line.cost is None),
    )


def _by_place(lines: Sequence[StockLine]) -> tuple[tuple[str, str, int, int], ...]:
    found: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0])
    for line in lines:
        side = 0 if line.product.side == "iso" else 1
        found[line.site.name, line.place.name][side] += line.counted.count
    return tuple((place, site, iso, resin) for (site, place), (iso, resin) in sorted(found.items()))


def stock_rows(stock: StockNow, *, formats: Formats, currency: str) -> list[list[object]]:
    """Return the stock as the rows of a table, the headings first."""
    unit, say = formats.mass_unit, formats.tongue.say
    scale = 1.0 if unit == "kg" else LB_KG
    headings = (
        *("Side", "Product", "Lot", "Made on", "Site", "Place", "Drums", f"Left, {unit}"),
        *("Ready now", "Ready by tomorrow 06:00", "More if taken into a warm room now"),
        "More once mixed",
        *("Ready now, perhaps not then", "Not known", "On hold", "Partly used"),
        *(f"Expiring in {stock.days} days", "Expired", "First last day", f"Cost, {currency}"),
    )
    rows: list[list[object]] = [[say(heading) for heading in headings]]
    for line in stock.lines:
        counted = line.counted
        local = formats.at(line.site.timezone)
        ends = None if counted.ends_ms is None else local.local(from_ms(counted.ends_ms)).date()
        rows.append(
            [
                *(say(line.product.side), line.product.name, line.lot.code, line.lot.made_on),
                *(line.site.name, line.place.name, counted.count, counted.net_kg / scale),
                *(counted.ready, line.ready_by, counted.soon_moved),
                *(counted.soon_mixed, line.may_leave),
                *(counted.unknown, counted.on_hold, counted.partial),
                *(counted.expiring, counted.expired, ends, line.cost),
            ]
        )
    return rows


def loss_rows(months: Sequence[Month], *, formats: Formats, currency: str) -> list[list[object]]:
    """Return the losses as the rows of a table, the headings first."""
    unit, say = formats.mass_unit, formats.tongue.say
    scale = 1.0 if unit == "kg" else LB_KG
    headings = (
        *("Month", "Drum", "Side", "Product", "Lot", "Why", "Still here"),
        *(f"Liquid, {unit}", f"Cost, {currency}"),
    )
    rows: list[list[object]] = [[say(heading) for heading in headings]]
    rows += [
        [
            *(month.month, loss.tag, say(loss.side), loss.product, loss.lot, say(loss.reason)),
            *(say("yes" if loss.still_here else "no"), loss.net_kg / scale, loss.cost),
        ]
        for month in months
        for loss in month.losses
    ]
    return rows


def month_views(months: Iterable[Month], *, formats: Formats) -> tuple[MonthView, ...]:
    """Return months of losses with their names."""
    found = []
    for month in months:
        year, _, number = month.month.partition("-")
        name = formats.words(_MONTHS[int(number) - 1])
        found.append(MonthView(words=f"{name} {year}", month=month))
    return tuple(found)


def price_lines(tx: Tx, *, lot_ids: Iterable[int]) -> tuple[PriceLine, ...]:
    """Return every product with its price, and under it the lots asked for."""
    latest = {(price.product_id, price.lot_id): price for price in price_rows.latest(tx)}
    lots = catalogue.lots_by_id(tx, ids=list(lot_ids))
    products = sorted(
        catalogue.list_products(tx, limit=10_000), key=lambda row: (row.side, row.name)
    )
    found = []
    for product in products:
        of_product = sorted(
            (lot for lot in lots.values() if lot.product_id == product.id),
            key=lambda lot: (lot.made_on, lot.code),
        )
        for lot in (None, *of_product):
            own = latest.get((product.id, None if lot is None else lot.id))
            has = own is not None and own.amount is not None
            price = own if has else latest.get((product.id, None))
            found.append(
                PriceLine(
                    product=product.code,
                    name=product.name,
                    side=product.side,
                    lot=None if lot is None else lot.code,
                    amount=None if price is None else price.amount,
                    per="kg" if price is None else price.per,
                    own=has,
                    since=None if price is None else price.at,
                    by=None if price is None else price.by,
                )
            )
    return tuple(found)
