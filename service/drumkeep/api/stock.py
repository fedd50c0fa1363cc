"""``/stock``: what is there, what it costs, what was lost; ``/prices``."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel, ConfigDict, Field

from drumkeep.api.schemas.stock import (
    LossOut,
    MoneyOut,
    MonthOut,
    NextDrumOut,
    PriceIn,
    PriceOut,
    SetsOut,
    StockLineOut,
    StockOut,
)
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import Now, ReadingDep, TransactionDep, require, services
from drumkeep.asgi.fields import Line, PageOf
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.grid import from_ms
from drumkeep.domain.roles import Action
from drumkeep.domain.sets import Sets
from drumkeep.operations.losses import MONTHS, Loss, losses
from drumkeep.operations.prices import set_price
from drumkeep.operations.sites import site_named
from drumkeep.operations.stock import (
    EXPIRING_DAYS,
    LONGEST_DAYS,
    Money,
    StockLine,
    StockNow,
    stock_now,
)
from drumkeep.storage import catalogue
from drumkeep.storage import prices as price_rows
from drumkeep.storage.tables.prices import Price
from drumkeep.storage.transaction import Tx

router = APIRouter(tags=["stock"])
PricerDep = Annotated[Caller, Depends(require(Action.CHANGE_CATALOGUE))]


class StockQuery(BaseModel):
    """Of which site, and what is expiring."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    site: Line | None = None
    days: Annotated[int, Field(ge=0, le=LONGEST_DAYS)] = EXPIRING_DAYS


class LossQuery(BaseModel):
    """Of which site, and how many months back."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    site: Line | None = None
    months: Annotated[int, Field(ge=1, le=120)] = MONTHS


def _currency(request: Request) -> str:
    return services(request).currency


CurrencyDep = Annotated[str, Depends(_currency)]


@router.get("/stock")
def get_stock(
    tx: ReadingDep, query: Annotated[StockQuery, Query()], currency: CurrencyDep, now: Now
) -> StockOut:
    """Count what is in stock, by place and lot."""
    site_id = None if query.site is None else site_named(tx, code=query.site).id
    return _stock_out(stock_now(tx, site_id=site_id, days=query.days, now=now), currency=currency)


@router.get("/stock/losses")
def get_losses(
    tx: ReadingDep, query: Annotated[LossQuery, Query()], currency: CurrencyDep, now: Now
) -> PageOf[MonthOut]:
    """List what was lost by month, the latest first."""
    site_id = None if query.site is None else site_named(tx, code=query.site).id
    return PageOf(
        items=[
            MonthOut(
                month=month.month,
                spoiled=_money_out(month.spoiled, currency=currency),
                expired=_money_out(month.expired, currency=currency),
                losses=[_loss_out(loss) for loss in month.losses],
            )
            for month in losses(tx, site_id=site_id, months=query.months, now=now)
        ]
    )


@router.get("/prices")
def list_prices(tx: ReadingDep, currency: CurrencyDep) -> PageOf[PriceOut]:
    """List the prices that were said last, of each product and each lot that has its own."""
    return PageOf(items=_price_out(tx, price_rows.latest(tx), currency=currency))


@router.post("/prices", status_code=201)
def price(
    tx: TransactionDep, body: PriceIn, caller: PricerDep, currency: CurrencyDep, now: Now
) -> PriceOut:
    """Say what a product or a lot costs from now on; what was said before is kept."""
    row = set_price(tx, **body.model_dump(), by=by_caller(caller), now=now)
    return _price_out(tx, [row], currency=currency)[0]


def _stock_out(stock: StockNow, *, currency: str) -> StockOut:
    return StockOut(
        computed_at=stock.computed_at,
        expiring_days=stock.days,
        count=stock.total("count"),
        ready_now=stock.total("ready"),
        ready_by=stock.ready_by,
        ready_by_if_moved=stock.total("soon_moved"),
        ready_by_if_mixed=stock.total("soon_mixed"),
        may_leave=stock.may_leave,
        unknown=stock.total("unknown"),
        on_hold=stock.total("on_hold"),
        partial=stock.total("partial"),
        expired=stock.total("expired"),
        expiring=stock.total("expiring"),
        sets_now=_sets_out(stock.sets_now),
        sets_by=_sets_out(stock.sets_by),
        sets_not_on_hold=_sets_out(stock.sets_usable),
        cost=_money_out(stock.cost, currency=currency),
        cost_expired=_money_out(stock.expired_cost, currency=currency),
        lines=[_line_out(line, stock=stock) for line in stock.lines],
        next=[
            NextDrumOut(
                tag=drum.tag,
                side=product.side,
                product=product.code,
                lot=lot.code,
                place=place.name,
                net_kg=drum.net_kg,
                readiness=drum.state,
                ends=None if drum.ends_ms is None else from_ms(drum.ends_ms),
            )
            for drum, place, lot, product in stock.next
        ],
    )


def _line_out(line: StockLine, *, stock: StockNow) -> StockLineOut:
    counted = line.counted
    return StockLineOut(
        site=line.site.code,
        place=f"{line.site.code}/{line.place.code}",
        side=line.product.side,
        product=line.product.code,
        system=line.product.system,
        lot=line.lot.code,
        count=counted.count,
        net_kg=counted.net_kg,
        ready_now=counted.ready,
        by=stock.by[line.site.id],
        ready_by=line.ready_by,
        ready_by_if_moved=counted.soon_moved,
        ready_by_if_mixed=counted.soon_mixed,
        may_leave=line.may_leave,
        unknown=counted.unknown,
        on_hold=counted.on_hold,
        partial=counted.partial,
        expired=counted.expired,
        expiring=counted.expiring,
        ends_first=None if counted.ends_ms is None else from_ms(counted.ends_ms),
        cost=line.cost,
    )


def _sets_out(sets: Sets) -> SetsOut:
    return SetsOut(sure=sets.sure, at_most=sets.at_most)


def _money_out(money: Money, *, currency: str) -> MoneyOut:
    return MoneyOut(amount=round(money.amount, 2), currency=currency, unpriced=money.unpriced)


def _loss_out(loss: Loss) -> LossOut:
    return LossOut(
        tag=loss.tag,
        product=loss.product,
        lot=loss.lot,
        at=loss.at,
        reason=loss.reason,
        net_kg=loss.net_kg,
        cost=loss.cost,
        still_here=loss.still_here,
    )


def _price_out(tx: Tx, rows: list[Price], *, currency: str) -> list[PriceOut]:
    products = catalogue.products_by_id(tx, ids=[row.product_id for row in rows])
    lots = catalogue.lots_by_id(tx, ids=[row.lot_id for row in rows])
    return [
        PriceOut(
            product=products[row.product_id].code,
            lot=None if row.lot_id is None else lots[row.lot_id].code,
            amount=row.amount,
            per=row.per,
            currency=currency,
            at=row.at,
            by=row.by,
        )
        for row in rows
    ]
