"""What products and lots cost: set, taken back, and found for a lot."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from drumkeep.domain.prices import Per, check_price, price_per_kg
from drumkeep.operations.drums import By
from drumkeep.operations.lots import lot_named
from drumkeep.operations.products import product_named
from drumkeep.storage import prices as rows
from drumkeep.storage.catalogue import add
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Lot, Product
from drumkeep.storage.tables.prices import Price
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True)
class Prices:
    """The prices in force: by lot id, and by product id for lots without one of their own."""

    lots: Mapping[int, Price]
    products: Mapping[int, Price]

    def of(self, lot: Lot) -> Price | None:
        """Return the price that a lot goes by."""
        return self.lots.get(lot.id) or self.products.get(lot.product_id)

    def per_kg(self, lot: Lot, product: Product) -> float | None:
        """Return what a kilogram of a lot costs; None where nobody said."""
        price = self.of(lot)
        if price is None or price.amount is None:
            return None
        full_kg = as_product(product).properties.net_kg
        return price_per_kg(price.amount, per=Per(price.per), full_kg=full_kg)


def read_prices(tx: Tx) -> Prices:
    """Return the prices in force."""
    latest = [price for price in rows.latest(tx) if price.amount is not None]
    return Prices(
        lots={p.lot_id: p for p in latest if p.lot_id is not None},
        products={p.product_id: p for p in latest if p.lot_id is None},
    )


def set_price(
    tx: Tx,
    *,
    product: str,
    lot: str | None = None,
    amount: float | None,
    per: str,
    by: By,
    now: datetime,
) -> Price:
    """Say what a product, or one lot of it, costs from now on; without an amount: not known.

    The same again changes nothing.

    Raises
    ------
    Invalid
        Product, lot or price cannot be used.
    """
    of = product_named(tx, code=product)
    lot_id = None if lot is None else lot_named(tx, product=product, code=lot).id
    checked = check_price(amount, per=per)
    said = rows.of_product(tx, product_id=of.id, lot_id=lot_id)
    if said and (said[0].amount, said[0].per) == (amount, checked.value):
        return said[0]
    return add(
        tx,
        Price(
            product_id=of.id,
            lot_id=lot_id,
            amount=amount,
            per=checked.value,
            at=now,
            account_id=by.account_id,
            by=by.name,
        ),
    )
