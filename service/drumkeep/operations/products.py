"""Products: what a lot is a lot of, with the figures of its data sheet."""

from collections.abc import Mapping
from typing import Final, TypedDict

from drumkeep.domain.checks import Checks
from drumkeep.domain.drums import fold
from drumkeep.domain.events import effective
from drumkeep.domain.products import Cell, Properties, Side
from drumkeep.errors import Conflict, DrumkeepError, Fault, Invalid, NotFound
from drumkeep.storage import catalogue, drums
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Product
from drumkeep.storage.transaction import Tx

LONGEST_SYSTEM: Final = 40


class ProductChanges(TypedDict, total=False):
    """What may change on a product; overrides are replaced as a whole, its side and cell stay."""

    name: str
    system: str | None
    properties: Mapping[str, object]
    limits: Mapping[str, object]
    origins: Mapping[str, str]


def create_product(
    tx: Tx,
    *,
    code: str,
    name: str,
    side: str,
    cell: str | None = None,
    system: str | None = None,
    properties: Mapping[str, object] | None = None,
    limits: Mapping[str, object] | None = None,
    origins: Mapping[str, str] | None = None,
) -> Product:
    """Make a product; what its overrides leave out is the default of its side and cell.

    Raises
    ------
    Invalid
        A value cannot be used; unknown, out of range or contradictory overrides are named.
    Conflict
        The code is taken.
    """
    checks = Checks()
    checks.code("code", code)
    known = checks.one_of("side", side, Side)
    if cell is not None:
        checks.one_of("cell", cell, Cell)
        if known is Side.ISO:
            checks.add("cell", cell, "belongs to resin, and this is iso", "Leave it out.")
    product = Product(
        code=code,
        name=name,
        side=side,
        cell=cell or (Cell.CLOSED if known is Side.RESIN else None),
        system=system,
        properties=dict(properties or {}),
        limits=dict(limits or {}),
        origins=dict(origins or {}),
    )
    _check(checks, product)
    checks.raise_faults("The product cannot be made.")
    if catalogue.product_by_code(tx, code=code) is not None:
        raise Conflict(
            "The product exists already.",
            [Fault("code", code, "is taken", "Choose another code, or change that product.")],
        )
    return catalogue.add(tx, product)


def change_product(tx: Tx, *, code: str, changes: ProductChanges) -> Product:
    """Change a product; its drums are computed again from the beginning if its figures change.

    Raises
    ------
    NotFound
        There is no such product.
    Invalid
        A value cannot be used.
    Conflict
        Some drum's record would no longer be possible: more liquid than it holds.
    """
    product = product_at(tx, code=code)
    before = as_product(product).properties
    product.sqlmodel_update(
        {
            name: dict(value) if isinstance(value, Mapping) else value
            for name, value in changes.items()
        }
    )
    checks = Checks()
    _check(checks, product)
    checks.raise_faults("The product cannot be changed.")
    if changes.keys() & {"properties", "limits"}:
        _refold(tx, product, before=before)
        catalogue.mark_drums_of(tx, product_id=product.id)
    return product


def _refold(tx: Tx, row: Product, *, before: Properties) -> None:
    """Write what drums amount to under changed figures; refuse a figure that their past denies."""
    product = as_product(row)
    changed = [
        name
        for name in ("density_kg_m3", "net_kg")
        if getattr(product.properties, name) != getattr(before, name)
    ]
    if not changed:
        return
    kept = drums.drums_of(tx, product_id=row.id)
    log = drums.events_of(tx, drum_ids=[drum.id for drum in kept])
    for drum in kept:
        try:
            drum.net_kg = fold(effective(log[drum.id]), product=product).net_kg
        except (Invalid, Conflict) as error:
            problem = "; ".join(fault.problem for fault in error.faults)
            raise Conflict(
                "Drums on record do not allow it.",
                [
                    Fault(
                        f"properties.{changed[0]}",
                        getattr(product.properties, changed[0]),
                        f"does not fit what is recorded of drum {drum.tag}: {problem}",
                        "Correct that drum's record first, or keep the figure.",
                    )
                ],
            ) from error


def product_at(tx: Tx, *, code: str) -> Product:
    """Return the product that an address names.

    Raises
    ------
    NotFound
        There is none.
    """
    product = catalogue.product_by_code(tx, code=code)
    if product is None:
        raise NotFound("There is no such product.", [_unknown("product", code)])
    return product


def product_named(tx: Tx, *, code: str, field: str = "product") -> Product:
    """Return the product that a field refers to.

    Raises
    ------
    Invalid
        There is none; the fault names the field.
    """
    product = catalogue.product_by_code(tx, code=code)
    if product is None:
        raise Invalid("The product is not known.", [_unknown(field, code)])
    return product


def _unknown(field: str, code: str) -> Fault:
    return Fault(field, code, "is not known", "Use the code of a product in the list of products.")


def _check(checks: Checks, product: Product) -> None:
    checks.text("name", product.name)
    if product.system is not None:
        checks.text("system", product.system, longest=LONGEST_SYSTEM)
    for name, text in product.origins.items():
        checks.text(f"origins.{name}", text, longest=300)
    if not checks.faults:
        try:
            as_product(product)
        except DrumkeepError as error:
            checks.faults.extend(error.faults)
