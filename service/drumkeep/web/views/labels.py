"""Labels as pages show them: which may be printed, and which were."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from drumkeep.domain.labels import SIZES
from drumkeep.storage import labels as rows
from drumkeep.storage.drums import StockRow
from drumkeep.storage.tables.labels import LabelPrint
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelLine:
    """A drum whose label may be printed; ``copies`` is how many it has had."""

    tag: str
    side: str
    lot: str
    product: str
    place: str
    copies: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintView:
    """A label that was printed."""

    at: datetime
    by: str
    what: str


def label_lines(tx: Tx, found: Sequence[StockRow]) -> tuple[LabelLine, ...]:
    """Return drums to print labels of, in the order of their tags."""
    copies = rows.copies_of_drums(tx, ids=[row.drum.id for row in found])
    return tuple(
        LabelLine(
            tag=row.drum.tag,
            side=row.product.side,
            lot=row.lot.code,
            product=row.product.name,
            place=row.place.name,
            copies=copies.get(row.drum.id, 0),
        )
        for row in sorted(found, key=lambda row: row.drum.tag)
    )


def print_views(
    tx: Tx, *, drum_id: int | None = None, place_id: int | None = None
) -> tuple[PrintView, ...]:
    """Return the labels that were printed of a drum or a place, latest first."""
    found = rows.list_prints(tx, drum_id=drum_id, place_id=place_id)
    return tuple(
        PrintView(
            at=row.at,
            by=row.by,
            what=_what(row),
        )
        for row in reversed(found)
    )


def _what(row: LabelPrint) -> str:
    size = SIZES[row.size].words if row.size in SIZES else row.size
    if row.copy_number == 1:
        return f"Printed ({size})"
    return f"Reprinted, label {row.copy_number} ({size})"
