"""Products as the rules and the physics need them."""

from drumkeep.domain.data_sheets import with_overrides
from drumkeep.domain.products import Cell, Product, Side, default_product
from drumkeep.storage.tables.catalogue import Product as ProductRow


def as_product(row: ProductRow) -> Product:
    """Return a stored product: its side's defaults with its own figures over them."""
    product = default_product(Side(row.side), Cell(row.cell) if row.cell else None)
    return with_overrides(
        product, properties=row.properties, limits=row.limits, origins=row.origins
    )
