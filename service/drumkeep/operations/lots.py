"""Lots: what a maker made in one go."""

import re
from datetime import date, datetime, timedelta
from typing import Final, TypedDict

from drumkeep.domain.checks import Checks
from drumkeep.errors import Conflict, Fault, Invalid, NotFound
from drumkeep.operations.products import product_named
from drumkeep.storage import catalogue
from drumkeep.storage.tables.catalogue import Lot
from drumkeep.storage.transaction import Tx

LONGEST_LIFE: Final = timedelta(days=3650)

# The invariant character set of GS1 (General Specifications, figure 7.11-1), in which a lot comes
# on a label; up to 20 there, longer ones from elsewhere are taken too.
_LOT: Final = re.compile(r"""[!"%&'()*+,\-./0-9:;<=>?A-Z_a-z]{1,40}""")


class LotChanges(TypedDict, total=False):
    """What may change on a lot; its product and code stay."""

    made_on: date
    expires_on: date | None


def create_lot(
    tx: Tx,
    *,
    product: str,
    code: str,
    made_on: date,
    expires_on: date | None = None,
    now: datetime,
) -> Lot:
    """Make a lot; without an expiry the product's shelf life holds.

    Raises
    ------
    Invalid
        A value cannot be used: an unknown product, made in the future, expired before made.
    Conflict
        The product has this lot already.
    """
    of = product_named(tx, code=product)
    checks = Checks()
    if not _LOT.fullmatch(code):
        checks.add(
            "code",
            code,
            "is no lot code",
            "Write it as on the label: 1 to 40 letters, digits and marks, without spaces.",
        )
    lot = Lot(product_id=of.id, code=code, made_on=made_on, expires_on=expires_on)
    _check(checks, lot, now=now)
    checks.raise_faults("The lot cannot be made.")
    if catalogue.lot_by_code(tx, product=product, code=code) is not None:
        raise Conflict(
            "The lot exists already.",
            [Fault("code", code, "is a lot of this product already", "Use or change that lot.")],
        )
    return catalogue.add(tx, lot)


def change_lot(tx: Tx, *, product: str, code: str, changes: LotChanges, now: datetime) -> Lot:
    """Change a lot.

    Raises
    ------
    NotFound
        There is no such lot.
    Invalid
        A value cannot be used.
    """
    lot = lot_at(tx, product=product, code=code)
    lot.sqlmodel_update(dict(changes))
    checks = Checks()
    _check(checks, lot, now=now)
    checks.raise_faults("The lot cannot be changed.")
    catalogue.mark_drums_of_lot(tx, lot_id=lot.id)  # the dates are part of what they carry
    return lot


def lot_at(tx: Tx, *, product: str, code: str) -> Lot:
    """Return the lot that an address names.

    Raises
    ------
    NotFound
        There is none.
    """
    lot = catalogue.lot_by_code(tx, product=product, code=code)
    if lot is None:
        raise NotFound("There is no such lot.", [_unknown("lot", code)])
    return lot


def lot_named(tx: Tx, *, product: str, code: str, field: str = "lot") -> Lot:
    """Return the lot that a field refers to, of a product.

    Raises
    ------
    Invalid
        There is none; the fault names the field.
    """
    lot = catalogue.lot_by_code(tx, product=product, code=code)
    if lot is None:
        raise Invalid("The lot is not known.", [_unknown(field, code)])
    return lot


def _unknown(field: str, code: str) -> Fault:
    return Fault(field, code, "is not known", "Add the lot to its product first.")


def _check(checks: Checks, lot: Lot, *, now: datetime) -> None:
    today = now.date()
    # Somewhere it is tomorrow already.
    if not today - LONGEST_LIFE <= lot.made_on <= today + timedelta(days=1):
        checks.add(
            "made_on",
            lot.made_on.isoformat(),
            "is in the future or more than ten years past",
            "Give the day on which the lot was made, as 2026-01-31.",
        )
    elif lot.expires_on is not None and not (
        lot.made_on < lot.expires_on <= lot.made_on + LONGEST_LIFE
    ):
        checks.add(
            "expires_on",
            lot.expires_on.isoformat(),
            "is not after the day it was made, or more than ten years after",
            "Give the day after which it is not to be used, or null.",
        )
