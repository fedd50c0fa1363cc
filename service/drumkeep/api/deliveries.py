"""``/deliveries``: receive drums that are alike in one go; ``/supplier-labels``: what one says."""

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import Field

from drumkeep.api.drum_answers import drum_out
from drumkeep.api.schemas.drums import DrumOut
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.deliveries import DeliveryIn, delivery_of
from drumkeep.asgi.dependencies import Now, ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import Answer, Body, Line, MomentOut, PageOf
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.roles import Action
from drumkeep.domain.supplier_labels import LONGEST
from drumkeep.domain.wording import plain
from drumkeep.operations.deliveries import receive_delivery
from drumkeep.operations.supplier_labels import look_up_label, remember_item
from drumkeep.storage import catalogue
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import trade_items as rows
from drumkeep.storage.tables.catalogue import Product
from drumkeep.storage.tables.trade_items import TradeItem

router = APIRouter(tags=["deliveries"])

ReceiverDep = Annotated[Caller, Depends(require(Action.RECORD))]


class LabelIn(Body):
    """What a scanner gave, or what is printed under the bars with its brackets."""

    label: Annotated[str, Field(min_length=1, max_length=LONGEST)]


class LabelOut(Answer):
    """What a label says, and the product and lot that it means here; null: not said, not known.

    ``lots``: what the lot may be where the scanner left out what ends it. ``doubts``: what does
    not agree with what is on record.
    """

    gtin: str | None
    lot: str | None
    made_on: date | None
    expires_on: date | None
    best_before: date | None
    net_kg: float | None
    serial: str | None
    sscc: str | None
    count: int | None
    lowest_c: float | None
    highest_c: float | None
    lots: list[str]
    product: str | None
    lot_known: bool
    doubts: list[str]


class TradeItemIn(Body):
    """Which product a trade item number is."""

    gtin: Annotated[str, Field(min_length=8, max_length=14)]
    product: Line


class TradeItemOut(Answer):
    """Which product a trade item number was said to be, by whom and when."""

    gtin: str
    product: str
    at: MomentOut
    by: str


@router.post("/supplier-labels")
def look_up(tx: ReadingDep, body: LabelIn, now: Now) -> LabelOut:
    """Say what a supplier's label says and what it means here; nothing is stored."""
    found = look_up_label(tx, text=body.label, now=now)
    label = found.label
    return LabelOut(
        gtin=label.gtin,
        lot=label.lot,
        made_on=label.made_on,
        expires_on=label.expires_on,
        best_before=label.best_before,
        net_kg=label.net_kg,
        serial=label.serial,
        sscc=label.sscc,
        count=label.count,
        lowest_c=label.lowest_c,
        highest_c=label.highest_c,
        lots=list(label.lots),
        product=None if found.product is None else found.product.code,
        lot_known=found.lot is not None,
        doubts=[plain(doubt) for doubt in found.doubts],
    )


@router.post("/deliveries", status_code=201)
def receive(tx: TransactionDep, body: DeliveryIn, caller: ReceiverDep, now: Now) -> list[DrumOut]:
    """Receive drums that are alike: all, or on any fault none."""
    made = receive_delivery(tx, delivery=delivery_of(tx, body), by=by_caller(caller), now=now)
    return [
        drum_out(drum_rows.list_drums(tx, tag=drum.tag, present=False)[0], output=None)
        for drum in made
    ]


@router.get("/trade-items")
def list_items(tx: ReadingDep) -> PageOf[TradeItemOut]:
    """List the trade item numbers that are remembered; a company has some dozens."""
    return PageOf(items=[_item_out(item, product) for item, product in rows.list_items(tx)])


@router.post("/trade-items", status_code=201)
def remember(tx: TransactionDep, body: TradeItemIn, caller: ReceiverDep, now: Now) -> TradeItemOut:
    """Say which product a trade item number is; saying it anew is a manager's."""
    by = by_caller(caller)
    item = remember_item(tx, gtin=body.gtin, product=body.product, by=by, now=now)
    return _item_out(item, catalogue.products_by_id(tx, ids=[item.product_id])[item.product_id])


def _item_out(item: TradeItem, product: Product) -> TradeItemOut:
    return TradeItemOut(gtin=item.gtin, product=product.code, at=item.at, by=item.by)
