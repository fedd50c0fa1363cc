"""``/products``."""

from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response

from drumkeep.api.addresses import located
from drumkeep.api.paging import PageQuery, page_of
from drumkeep.api.schemas.products import FiguresOut, ProductIn, ProductOut, ProductPatch
from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import PageOf
from drumkeep.domain.products import Side
from drumkeep.domain.roles import Action
from drumkeep.operations import products
from drumkeep.storage import catalogue
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Product

router = APIRouter(prefix="/products", tags=["products"])
_CHANGE = [Depends(require(Action.CHANGE_CATALOGUE))]


class ProductQuery(PageQuery):
    """Which products."""

    side: Side | None = None


@router.get("")
def list_products(tx: ReadingDep, query: Annotated[ProductQuery, Query()]) -> PageOf[ProductOut]:
    """List the products, of one side if asked."""
    rows = catalogue.list_products(tx, side=query.side, after=query.after, limit=query.limit + 1)
    return page_of(rows, lambda shown: [_out(row) for row in shown], limit=query.limit)


@router.get("/{code}")
def get_product(tx: ReadingDep, code: str) -> ProductOut:
    """Get a product."""
    return _out(products.product_at(tx, code=code))


@router.post("", status_code=201, dependencies=_CHANGE)
def create_product(tx: TransactionDep, body: ProductIn, response: Response) -> ProductOut:
    """Make a product."""
    product = products.create_product(tx, **body.model_dump())
    located(response, "products", product.code)
    return _out(product)


@router.patch("/{code}", dependencies=_CHANGE)
def change_product(tx: TransactionDep, code: str, body: ProductPatch) -> ProductOut:
    """Change a product."""
    return _out(products.change_product(tx, code=code, changes=body.changes()))


def _out(product: Product) -> ProductOut:
    rules = as_product(product)
    properties, limits = asdict(rules.properties), asdict(rules.limits)
    return ProductOut(
        code=product.code,
        name=product.name,
        side=product.side,
        cell=product.cell,
        system=product.system,
        properties=product.properties,
        limits=product.limits,
        origins=product.origins,
        in_force=FiguresOut(
            properties=properties,
            limits=limits,
            origins={name: rules.origin(name) for name in (*properties, *limits)},
        ),
    )
