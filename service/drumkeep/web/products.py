"""Products: the list, and each with its limits and its liquid's properties by temperature."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, refuse_unless_may
from drumkeep.domain.roles import Action, may
from drumkeep.errors import Fault, heard
from drumkeep.operations import products
from drumkeep.storage import catalogue
from drumkeep.storage.savepoint import savepoint
from drumkeep.storage.tables.catalogue import Product
from drumkeep.storage.transaction import Tx
from drumkeep.web.drums import posted
from drumkeep.web.form_faults import about_it, in_units
from drumkeep.web.formats import Formats
from drumkeep.web.forms import points_of, written_lines
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.views.products import (
    POINTS,
    PointsField,
    points_fields,
    product_line,
    product_view,
)

router = APIRouter()

_MOST: Final = 1000
"""A company sprays a dozen products; a supplier makes some hundred."""

_UNUSABLE: Final = 422


@router.get("/products")
def products_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """List the products."""
    rows = sorted(catalogue.list_products(tx, limit=_MOST), key=lambda row: (row.side, row.name))
    return shell.answer(
        "products.html",
        tx=tx,
        page="products",
        products=[product_line(row, formats=shell.formats) for row in rows],
    )


@router.get("/products/{code}")
def product_page(tx: ReadingDep, shell: ShellDep, code: str) -> HTMLResponse:
    """Show a product's sheet."""
    row = products.product_at(tx, code=code)
    return _sheet(tx, shell, row, given=points_fields(row, formats=shell.formats))


@router.post("/products/{code}/system")
def set_system(
    tx: TransactionDep,
    shell: ShellDep,
    code: str,
    form: Annotated[dict[str, str], Depends(posted)],
) -> Response:
    """Say to which system a product belongs; an empty field takes it back."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    system = form.get("system", "").strip() or None
    products.change_product(tx, code=code, changes={"system": system})
    return see(f"/products/{code}#system")


@router.post("/products/{code}/points")
def set_points(
    tx: TransactionDep,
    shell: ShellDep,
    code: str,
    form: Annotated[dict[str, str], Depends(posted)],
) -> Response:
    """Take the points of a data sheet, or none of them: what cannot be is told beside its field."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    row = products.product_at(tx, code=code)
    # The units that the form was shown in: the person may have switched since, on another page.
    us = form.get("units", shell.caller.units) == "us"
    formats = replace(shell.formats, units="us" if us else "si")
    kept: dict[str, Any] = {name: v for name, v in row.properties.items() if name not in POINTS}
    origins = {name: text for name, text in row.origins.items() if name not in POINTS}
    faults: list[Fault] = []
    for key in POINTS:
        points = None
        with heard(faults):
            points = points_of(form, key, us=us)
        if points:
            kept[key] = points
            if form.get(f"{key}-source", "").strip():
                origins[key] = form[f"{key}-source"].strip()
    if not faults:
        # Of what is refused nothing may stay: the page that tells so ends the transaction well.
        with heard(faults), savepoint(tx):
            products.change_product(tx, code=code, changes={"properties": kept, "origins": origins})
            return see(f"/products/{code}#properties")
    given = tuple(
        _as_written(field, form, faults, formats=formats)
        for field in points_fields(row, formats=formats)
    )
    page = _sheet(tx, shell, row, given=given, formats=formats)
    page.status_code = _UNUSABLE
    return page


def _sheet(
    tx: Tx,
    shell: Shell,
    row: Product,
    *,
    given: tuple[PointsField, ...],
    formats: Formats | None = None,
) -> HTMLResponse:
    formats = formats or shell.formats
    return shell.answer(
        "product.html",
        tx=tx,
        page="product",
        formats=formats,
        product=product_view(row, formats=formats),
        points=given,
        may_change=may(shell.caller.role, Action.CHANGE_CATALOGUE),
    )


def _as_written(
    field: PointsField, form: Mapping[str, str], faults: Sequence[Fault], *, formats: Formats
) -> PointsField:
    """Return a field as the person left it, with what is wrong with it."""
    text = form.get(field.key, "")
    path = f"properties.{field.key}"
    return replace(
        field,
        text=text,
        source=form.get(f"{field.key}-source", ""),
        problems=tuple(
            _problem(fault, path=path, name=field.name, text=text, formats=formats)
            for fault in faults
            if fault.field == path or fault.field.startswith(f"{path}.")
        ),
        source_problems=tuple(
            about_it(fault, formats.tongue)
            for fault in faults
            if fault.field == f"origins.{field.key}"
        ),
    )


def _problem(fault: Fault, *, path: str, name: str, text: str, formats: Formats) -> str:
    """Say what is wrong; of a line, as it was written."""
    number = fault.field.removeprefix(path).removeprefix(".")
    subject = f"“{written_lines(text)[int(number)]}”" if number else formats.tongue.say(name)
    # In units first: how figures are rounded hangs on the English words beside them.
    problem, mend = in_units(f"{fault.problem}\n{fault.mend}", formats=formats).split("\n")
    return f"{subject} {formats.tongue.say(problem)}. {formats.tongue.say(mend)}"
