"""``/lots``."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response

from drumkeep.api.addresses import located
from drumkeep.api.paging import PageQuery, page_of
from drumkeep.api.schemas.lots import LotColdOut, LotIn, LotOut, LotPatch
from drumkeep.asgi.dependencies import Now, ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import Line, PageOf
from drumkeep.domain.roles import Action
from drumkeep.operations import lots
from drumkeep.operations.products import product_named
from drumkeep.storage import catalogue, estimates
from drumkeep.storage.estimates import LotMark
from drumkeep.storage.tables.catalogue import Lot
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/lots", tags=["lots"])
_CHANGE = [Depends(require(Action.CHANGE_CATALOGUE))]


class LotQuery(PageQuery):
    """Which lots."""

    product: Line | None = None


@router.get("")
def list_lots(tx: ReadingDep, query: Annotated[LotQuery, Query()]) -> PageOf[LotOut]:
    """List the lots, of one product if asked."""
    if query.product is not None:
        product_named(tx, code=query.product)
    rows = catalogue.list_lots(tx, product=query.product, after=query.after, limit=query.limit + 1)
    return page_of(rows, lambda shown: _out(tx, shown), limit=query.limit)


# A lot's code may have a slash in it.
@router.get("/{product}/{code:path}")
def get_lot(tx: ReadingDep, product: str, code: str) -> LotOut:
    """Get a lot."""
    return _out(tx, [lots.lot_at(tx, product=product, code=code)])[0]


@router.post("", status_code=201, dependencies=_CHANGE)
def create_lot(tx: TransactionDep, body: LotIn, response: Response, now: Now) -> LotOut:
    """Make a lot."""
    made = _out(tx, [lots.create_lot(tx, **body.model_dump(), now=now)])[0]
    located(response, "lots", made.product, made.code)
    return made


@router.patch("/{product}/{code:path}", dependencies=_CHANGE)
def change_lot(tx: TransactionDep, product: str, code: str, body: LotPatch, now: Now) -> LotOut:
    """Change a lot."""
    return _out(
        tx, [lots.change_lot(tx, product=product, code=code, changes=body.changes(), now=now)]
    )[0]


def _out(tx: Tx, rows: Sequence[Lot]) -> list[LotOut]:
    products = catalogue.products_by_id(tx, ids=[row.product_id for row in rows])
    marks = estimates.cold_lots(tx, lot_ids=[row.id for row in rows])
    return [
        LotOut(
            product=products[row.product_id].code,
            code=row.code,
            made_on=row.made_on,
            expires_on=row.expires_on,
            was_cold=_mark_out(marks.get(row.id)),
        )
        for row in rows
    ]


def _mark_out(mark: LotMark | None) -> LotColdOut | None:
    return (
        None if mark is None else LotColdOut(min_c=mark.min_c, hours=mark.hours, drums=mark.drums)
    )
