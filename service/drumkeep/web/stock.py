"""Stock: what is there, what it costs, what was lost, and what a lot costs."""

from typing import Annotated, Final

from fastapi import APIRouter, Depends, Query
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may, services
from drumkeep.asgi.happenings import by_caller
from drumkeep.asgi.tables import csv_answer
from drumkeep.domain.roles import Action, may
from drumkeep.operations.losses import losses
from drumkeep.operations.prices import set_price
from drumkeep.operations.stock import EXPIRING_DAYS, LONGEST_DAYS, StockNow, stock_now
from drumkeep.storage import catalogue
from drumkeep.storage.transaction import Tx
from drumkeep.web.drums import posted
from drumkeep.web.forms import number_of
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.views.stock import (
    loss_rows,
    month_views,
    price_lines,
    stock_rows,
    stock_view,
)

router = APIRouter()

Word = Annotated[str, Field(max_length=200)]
_MOST_SITES: Final = 10_000


class StockQuery(BaseModel):
    """Of which site, and what is expiring; what is strange is as if it were left out."""

    site: Word = ""
    days: Word = ""

    def within(self) -> int:
        """Return within how many days what ends is expiring."""
        days = int(self.days) if self.days.isdecimal() and len(self.days) < 6 else EXPIRING_DAYS  # noqa: PLR2004
        return min(days, LONGEST_DAYS)


@router.get("/stock")
def stock_page(
    tx: ReadingDep, shell: ShellDep, query: Annotated[StockQuery, Query()]
) -> HTMLResponse:
    """Show what is in stock."""
    stock = _stock(tx, shell, query)
    return shell.answer(
        "stock.html",
        tx=tx,
        page="stock",
        stock=stock_view(stock, sites=_sites(tx), site=query.site, currency=_currency(shell)),
    )


@router.get("/stock.csv")
def stock_table(tx: ReadingDep, shell: ShellDep, query: Annotated[StockQuery, Query()]) -> Response:
    """Answer the stock as a table for a spreadsheet, in the viewer's units."""
    stock = _stock(tx, shell, query)
    rows = stock_rows(stock, formats=shell.formats, currency=_currency(shell))
    return csv_answer(rows, name=f"stock-{shell.now:%Y-%m-%d}")


@router.get("/stock/losses")
def losses_page(
    tx: ReadingDep, shell: ShellDep, query: Annotated[StockQuery, Query()]
) -> HTMLResponse:
    """Show what was lost, by month."""
    months = losses(tx, site_id=_site_id(tx, query.site), now=shell.now)
    return shell.answer(
        "losses.html",
        tx=tx,
        page="stock",
        months=month_views(months, formats=shell.formats),
        sites=_sites(tx),
        site=query.site,
        currency=_currency(shell),
    )


@router.get("/stock/losses.csv")
def losses_table(
    tx: ReadingDep, shell: ShellDep, query: Annotated[StockQuery, Query()]
) -> Response:
    """Answer what was lost as a table for a spreadsheet."""
    months = losses(tx, site_id=_site_id(tx, query.site), now=shell.now)
    rows = loss_rows(months, formats=shell.formats, currency=_currency(shell))
    return csv_answer(rows, name=f"losses-{shell.now:%Y-%m-%d}")


@router.get("/stock/prices")
def prices_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """Show what products and the lots in stock cost."""
    stock = stock_now(tx, days=EXPIRING_DAYS, now=shell.now)
    return shell.answer(
        "prices.html",
        tx=tx,
        page="stock",
        lines=price_lines(tx, lot_ids={line.lot.id for line in stock.lines}),
        currency=_currency(shell),
        may_change=may(shell.caller.role, Action.CHANGE_CATALOGUE),
    )


@router.post("/stock/prices")
def set_prices(
    tx: TransactionDep, shell: ShellDep, form: Annotated[dict[str, str], Depends(posted)]
) -> Response:
    """Say what a product or a lot costs; an empty field takes the price back."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    set_price(
        tx,
        product=form.get("product", ""),
        lot=form.get("lot") or None,
        amount=number_of(form, "amount") if form.get("amount", "").strip() else None,
        per=form.get("per", ""),
        by=by_caller(shell.caller),
        now=shell.now,
    )
    return see("/stock/prices")


def _stock(tx: Tx, shell: Shell, query: StockQuery) -> StockNow:
    return stock_now(tx, site_id=_site_id(tx, query.site), days=query.within(), now=shell.now)


def _site_id(tx: Tx, code: str) -> int | None:
    """Return the site of a code; one that is not known holds nothing."""
    if not code:
        return None
    site = catalogue.site_by_code(tx, code=code)
    return 0 if site is None else site.id


def _sites(tx: Tx) -> tuple[tuple[str, str], ...]:
    return tuple((site.code, site.name) for site in catalogue.list_sites(tx, limit=_MOST_SITES))


def _currency(shell: Shell) -> str:
    return services(shell.request).currency
