"""What a supplier's label means here: its product, its lot, and what does not agree."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from biip import ParseError
from biip.gtin import Gtin

from drumkeep.domain import wording
from drumkeep.domain.products import Product as ProductRules
from drumkeep.domain.roles import Action, may
from drumkeep.domain.supplier_labels import SupplierLabel, read_label
from drumkeep.errors import Conflict, Fault, Invalid
from drumkeep.operations.drums import By
from drumkeep.operations.products import product_named
from drumkeep.storage import catalogue
from drumkeep.storage import trade_items as rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Lot, Product
from drumkeep.storage.tables.trade_items import TradeItem
from drumkeep.storage.transaction import Tx

_DEGREES_APART: Final = 0.05


@dataclass(frozen=True)
class Scanned:
    """A label with what is known here of what it names; ``doubts`` are sentences with marks."""

    label: SupplierLabel
    product: Product | None
    lot: Lot | None
    doubts: tuple[str, ...]


def look_up_label(tx: Tx, *, text: str, now: datetime) -> Scanned:
    """Say what a supplier's label would be received as; nothing is stored.

    Raises
    ------
    Invalid
        It is no label.
    """
    label = read_label(text)
    product = None if label.gtin is None else rows.product_of(tx, gtin=label.gtin)
    lot = None
    if product is not None and label.lot is not None:
        lot = catalogue.lot_by_code(tx, product=product.code, code=label.lot)
    doubts = []
    if label.gtin is not None and product is None:
        doubts.append("This number is new here: choose its product once, and it is remembered.")
    if label.lots:
        either = " or ".join(label.lots)
        doubts.append(f"The scanner left out what ends the lot: it is {either}. Read the print.")
    if lot is not None:
        doubts += lot_doubts(lot, label=label)
    last = label.last_day
    if last is not None and last <= now.date():
        doubts.append(f"It expired on {last.isoformat()}.")
    if product is not None:
        doubts += _limit_doubts(as_product(product), label=label)
    return Scanned(label=label, product=product, lot=lot, doubts=tuple(doubts))


def lot_doubts(lot: Lot, *, label: SupplierLabel) -> list[str]:
    """Return in what a label and the lot on record differ."""
    made = "Lot {lot} is on record as made {known}, its label says {read}."
    expires = "Lot {lot} is on record as expires {known}, its label says {read}."
    told = ((made, lot.made_on, label.made_on), (expires, lot.expires_on, label.last_day))
    return [
        words.format(lot=lot.code, known=known.isoformat(), read=read.isoformat())
        for words, known, read in told
        if known is not None and read is not None and known != read
    ]


def _limit_doubts(product: ProductRules, *, label: SupplierLabel) -> list[str]:
    """Return in what a label asks for a narrower storage band than the product has here."""
    limits = product.limits
    low, high = label.lowest_c, label.highest_c
    doubts = []
    if low is not None and low > limits.storage_low_c + _DEGREES_APART:
        doubts.append(
            f"The label says not under {wording.temperature(low)}, the product here "
            f"{wording.temperature(limits.storage_low_c)}: have the manager look."
        )
    if high is not None and high < limits.storage_high_c - _DEGREES_APART:
        doubts.append(
            f"The label says not over {wording.temperature(high)}, the product here "
            f"{wording.temperature(limits.storage_high_c)}: have the manager look."
        )
    return doubts


def remember_item(tx: Tx, *, gtin: str, product: str, by: By, now: datetime) -> TradeItem:
    """Remember which product a GTIN is; whoever receives may say so once, a manager anew.

    Raises
    ------
    Invalid
        It is no GTIN, or the product is not known.
    Conflict
        It was said to be another product, and the role may not change the catalogue.
    """
    number = _checked(gtin)
    meant = product_named(tx, code=product)
    known = rows.item(tx, gtin=number)
    if known is None:
        return catalogue.add(
            tx,
            TradeItem(
                gtin=number, product_id=meant.id, at=now, account_id=by.account_id, by=by.name
            ),
        )
    if known.product_id != meant.id:
        if not may(by.role, Action.CHANGE_CATALOGUE):
            is_code = catalogue.products_by_id(tx, ids=[known.product_id])[known.product_id].code
            mend = f"Receive it as {is_code}, or have a manager change what {number} is."
            raise Conflict(
                "That number is another product here.",
                [Fault("product", product, f"is not what {number} was said to be", mend)],
            )
        known.product_id, known.at = meant.id, now
        known.account_id, known.by = by.account_id, by.name
        tx.session.add(known)
        tx.session.flush()
    return known


def _checked(gtin: str) -> str:
    digits = gtin.strip().zfill(14)
    try:
        Gtin.parse(digits)
    except ParseError:
        mend = "Write its 8, 12, 13 or 14 digits as printed under the bars."
        raise Invalid(
            "That is no trade item number.",
            [Fault("gtin", gtin, "is no GTIN, or its check digit is wrong", mend)],
        ) from None
    return digits
