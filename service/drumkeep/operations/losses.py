"""What was lost: liquid that was thrown away or expired, and what it cost, month by month."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from drumkeep.domain.drums import fold
from drumkeep.domain.events import DrumEvent, EventKind, effective
from drumkeep.domain.grid import from_ms, to_ms
from drumkeep.operations.prices import Prices, read_prices
from drumkeep.operations.stock import Money
from drumkeep.storage import catalogue
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import stock as rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Lot, Product
from drumkeep.storage.transaction import Tx

MONTHS: Final = 12
NO_REASON: Final = "no reason on record"
EXPIRED: Final = "expired, still here"


@dataclass(frozen=True, slots=True)
class Loss:
    """One drum whose liquid was lost, when and why; ``cost`` None where no price is on record."""

    tag: str
    side: str
    product: str
    lot: str
    at: datetime
    reason: str
    net_kg: float
    cost: float | None
    still_here: bool


@dataclass(frozen=True, slots=True)
class Month:
    """What was lost in a month of a site's calendar, ``2026-01``."""

    month: str
    spoiled: Money
    expired: Money
    losses: Sequence[Loss]


def losses(
    tx: Tx, *, site_id: int | None = None, months: int = MONTHS, now: datetime
) -> list[Month]:
    """Return what was lost this month and in the months before, the latest first.

    Spoiled: thrown away with liquid in it, or emptied for a reason. Expired: past its shelf life
    and still here; it counts in the month in which it expired, until it is thrown away.
    """
    sites = {site.id: ZoneInfo(site.timezone) for site in catalogue.list_sites(tx, limit=10_000)}
    gone = rows.ended(tx, since=_begin(now, months=months), site_id=site_id)
    expired = rows.expired(tx, now_ms=to_ms(now), site_id=site_id)
    ids = [one.lot_id for one in gone] + [one.lot_id for one in expired]
    lots = drum_rows.lots_and_products(tx, lot_ids=sorted(set(ids)))
    prices = read_prices(tx)
    log = drum_rows.events_of(tx, drum_ids=[one.drum_id for one in gone])
    first = _month_of(_begin(now, months=months))
    found: dict[str, list[Loss]] = defaultdict(list)
    for one in gone:
        lot, product = lots[one.lot_id]
        loss = _spoiled(
            one.tag, effective(log[one.drum_id]), lot=lot, product=product, prices=prices
        )
        if loss is not None:
            found[_month_of(loss.at.astimezone(sites[one.site_id]))].append(loss)
    for late in expired:
        lot, product = lots[late.lot_id]
        at = from_ms(late.ends_ms)
        found[_month_of(at.astimezone(sites[late.site_id]))].append(
            _loss(late.tag, lot=lot, product=product, prices=prices, at=at, kg=late.net_kg)
        )
    return [
        Month(
            month=month,
            spoiled=_sum([loss for loss in some if not loss.still_here]),
            expired=_sum([loss for loss in some if loss.still_here]),
            losses=sorted(some, key=lambda loss: (loss.at, loss.tag), reverse=True),
        )
        for month, some in sorted(found.items(), reverse=True)
        if month >= first
    ]


def _begin(now: datetime, *, months: int) -> datetime:
    """Return the first of the month so many months ago."""
    index = now.year * 12 + now.month - 1 - (months - 1)
    return now.replace(
        year=index // 12, month=index % 12 + 1, day=1, hour=0, minute=0, second=0, microsecond=0
    )


def _month_of(at: datetime) -> str:
    return f"{at:%Y-%m}"


def _spoiled(
    tag: str, believed: Sequence[DrumEvent], *, lot: Lot, product: Product, prices: Prices
) -> Loss | None:
    """Return what was lost with a drum that is gone; None where it was used up."""
    *before, end = believed
    facts = fold(before, product=as_product(product))
    if facts.net_kg <= 0.0 or end.kind not in (EventKind.DISPOSED, EventKind.EMPTIED):
        return None
    hold = "" if facts.hold is None else facts.hold.reason
    said = end.data.get("reason") or (end.note if end.kind is EventKind.DISPOSED else None)
    return _loss(
        tag,
        lot=lot,
        product=product,
        prices=prices,
        at=end.at,
        kg=facts.net_kg,
        reason=str(said or hold or NO_REASON),
    )


def _loss(
    tag: str,
    *,
    lot: Lot,
    product: Product,
    prices: Prices,
    at: datetime,
    kg: float,
    reason: str | None = None,
) -> Loss:
    per_kg = prices.per_kg(lot, product)
    return Loss(
        tag=tag,
        side=product.side,
        product=product.name,
        lot=lot.code,
        at=at,
        reason=reason or EXPIRED,
        net_kg=kg,
        cost=None if per_kg is None else per_kg * kg,
        still_here=reason is None,
    )


def _sum(some: Sequence[Loss]) -> Money:
    return Money(
        amount=sum(loss.cost for loss in some if loss.cost is not None),
        unpriced=sum(loss.cost is None for loss in some),
    )
