"""Pages of receiving and of labels with everything in them."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from drumkeep.domain.labels import SIZES
from drumkeep.errors import Fault
from drumkeep.web.labels import LabelQuery
from drumkeep.web.views.labels import LabelLine
from drumkeep.web.views.photos import SHOWS_WORDS
from drumkeep.web.views.receive import ReceiptView, ReceivedDrum
from tests.unit.web.paper_samples import photo


def receiving_pages(change: Callable[[Any], Any], *, now: datetime) -> Mapping[str, dict[str, Any]]:
    """Return the contexts of these pages by template."""
    return {
        "labels.html": {
            "query": LabelQuery(lot="2231"),
            "drums": (
                change(
                    LabelLine(
                        tag="K7Q-X4M",
                        side="iso",
                        lot="2231",
                        product="Northwind A",
                        place="North shed",
                        copies=1,
                    )
                ),
            ),
            "left_out": 0,
            "places": ((change("pine/north"), change("North shed")),),
            "choices": ((change("pine/north"), change("North shed")),),
            "sizes": tuple(SIZES.values()),
            "size": "4x6in",
            "address": "https://drums.example",
            "may_print": True,
            "page": "labels",
        },
        "receive.html": {
            "given": {"id": "1", "lot": change("2231"), "damage": change("a dent"), "at": ""},
            "faults": (
                Fault(
                    "Lot", change("22 31"), "is no lot code", "Read the print and type what holds."
                ),
            ),
            "facts": (("Serial", change("00071")),),
            "focus": "count",
            "doubts": (change("It expired yesterday."),),
            "lots": (change("2231"),),
            "products": (("nw-a", change("Northwind A"), "iso"),),
            "places": (("pine/north", change("North shed")),),
            "may_receive": True,
            "page": "receive",
        },
        "receipt.html": {
            "receipt": ReceiptView(
                key="5b1c0f6e-2f3a-4a63-9c0d-6b6f3d0a7a11",
                takes_photos=True,
                side="resin",
                drums=(ReceivedDrum(tag="K7Q-X4M", hold=change("a dent")),),
                at=now,
                by=change("Rosa"),
                facts=(("Product", change("Northwind B")),),
                note=change("GTIN 09506000134352"),
                bulged=False,
            ),
            "photos": (change(photo(now)),),
            "shows": SHOWS_WORDS,
            "may_receive": True,
            "page": "receive",
        },
    }
