"""What is true of many drums by what people recorded: their logs are read at once."""

from collections.abc import Sequence

from drumkeep.domain.drums import DrumFacts, fold
from drumkeep.domain.events import effective
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.drums import StockRow
from drumkeep.storage.products import as_product
from drumkeep.storage.transaction import Tx


def facts_of_all(tx: Tx, *, rows: Sequence[StockRow]) -> dict[int, DrumFacts]:
    """Return the facts of drums by drum id."""
    logs = drum_rows.events_of(tx, drum_ids=[row.drum.id for row in rows])
    return {
        row.drum.id: fold(effective(logs[row.drum.id]), product=as_product(row.product))
        for row in rows
    }
