"""What people call the places, sites, products and lots that the audit keeps by their codes."""

from collections.abc import Iterator, Mapping, Sequence

from drumkeep.operations.audit import Entry
from drumkeep.storage import catalogue
from drumkeep.storage.transaction import Tx

Names = Mapping[str, Mapping[str, str]]
"""Names of today by kind of thing and code; what is gone since has none."""

_KIND_OF = {"inside": "place"}
"""Fields that lead to a thing of another name."""


def names_in(tx: Tx, entries: Sequence[Entry]) -> Names:
    """Look up the names of all that some entries tell of by code."""
    codes: dict[str, set[str]] = {kind: set() for kind in ("place", "site", "product", "lot")}
    for kind, code in _told(entries):
        if kind in codes:
            codes[kind].add(code)
    products = {product for product, _, _ in (code.partition("/") for code in codes["lot"])}
    called = catalogue.product_names(tx, codes=codes["product"] | products)
    return {
        "place": catalogue.place_names(tx, references=codes["place"]),
        "site": catalogue.site_names(tx, codes=codes["site"]),
        "product": called,
        "lot": {
            code: f"{lot} ({called[product]})"
            for product, _, lot, code in ((*code.partition("/"), code) for code in codes["lot"])
            if product in called
        },
    }


def name_of(names: Names, kind: str, code: str) -> str | None:
    """Return what a thing is called; None where only its code is known."""
    return names.get(_KIND_OF.get(kind, kind), {}).get(code)


def _told(entries: Sequence[Entry]) -> Iterator[tuple[str, str]]:
    """Give what entries name: kinds, or fields that lead to one, with what is kept of it."""
    for entry in entries:
        yield entry.kind, entry.thing
        for part in entry.parts:
            for field, values in part.fields.items():
                kind = field.rpartition(".")[2]
                for value in values:
                    if isinstance(value, str):
                        yield _KIND_OF.get(kind, kind), value
