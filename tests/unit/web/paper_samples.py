"""Pages of traces, claims and photos with everything in them."""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from drumkeep.domain.claims import ClaimState, checksum
from drumkeep.errors import Fault
from drumkeep.storage.tables.claims import Claim
from drumkeep.web.formats import Formats
from drumkeep.web.trace import TraceQuery
from drumkeep.web.view_models import EventView, LimitView
from drumkeep.web.views.claims import STATE_WORDS, ClaimRow, NoteView, claim_view
from drumkeep.web.views.papers import PapersView
from drumkeep.web.views.photos import SHOWS_WORDS, PhotoView
from drumkeep.web.views.trace import (
    DoubtLine,
    DrumLine,
    LimitsLine,
    SensorLine,
    StayLine,
    TraceView,
)

AT = "2026-11-20T15:00:00Z"


def photo(now: datetime) -> PhotoView:
    return PhotoView(
        key="5b1c0f6e-2f3a-4a63-9c0d-6b6f3d0a7a11",
        words="Solids",
        note="at the bottom",
        at=now,
        by="Rosa",
        taken="2026-11-24 05:02:03",
        wide=400,
        tall=300,
        thinned=True,
    )


def papers(now: datetime) -> PapersView:
    return PapersView(
        photos=(photo(now),),
        found=("Solids on arrival",),
        claim_key="5b1c0f6e-2f3a-4a63-9c0d-6b6f3d0a7a11",
        others=("R8H-3NB",),
        may_claim=True,
        look="5b1c0f6e-2f3a-4a63-9c0d-6b6f3d0a7a11",
    )


def record() -> dict[str, Any]:
    """Return the record of a claim as it is stored."""
    points = [
        [f"2026-11-20T{15 + n:02}:00:00Z", None if n == 1 else 9.0, *[10.0 + n] * 5, n > 2]
        for n in range(6)
    ]
    beyond = {"limit_c": 10.0, "likely_h": 0.5, "possible_h": 1.5}
    span = {"hours": 5.0, "unknown_h": 1.0, "bottom_min_c": 10.0, "bottom_mean_c": 12.0}
    span |= {"bottom_max_c": 15.0, "low_c": 8.0, "high_c": 17.0}
    look = {"what": ["solids", "bulge"], "when": "arrival", "at": AT, "recorded_at": AT}
    event = {"at": AT, "recorded_at": AT, "by": "Rosa", "note": None}
    return {
        "version": 1,
        "made_at": AT,
        "made_by": "Rosa",
        "product": {"code": "nw-a", "name": "Northwind A", "side": "iso"},
        "lot": {"code": "2231", "made_on": "2026-10-01", "expires_on": None},
        "limits": [{"name": "storage_low_c", "c": 10.0, "origin": "common practice, no source"}],
        "places": {"1": "North shed"},
        "drums": [
            {
                "tag": "K7Q-X4M",
                "site": "Pine Street",
                "zone": "America/Chicago",
                "received_at": AT,
                "ended": None,
                "label": {"text": "(01)09506000134352", "gtin": "09506000134352"},
                "findings": [look | {"by": "Rosa", "note": "crystals"}],
                "stays": [
                    {"place": "North shed", "kind": "warehouse", "site": "Pine Street"}
                    | {"since": AT, "until": None, **span}
                ],
                "events": [
                    event | {"kind": "received", "data": {"place": 1, "liquid_c": 11.0}},
                    event | {"kind": "inspected", "data": {"solids": "seen"}},
                ],
                "temperature": span
                | {"apart_h": 1.0, "under": beyond, "over": beyond, "points": points}
                | {"gaps": [{"since": AT, "until": AT}]},
            }
        ],
        "photos": [],
        "sensors": [
            {"name": "urn:dev:os:32473-hall:temp", "place": "North shed", "since": AT}
            | {"until": None, "error_k": 0.5, "calibrations": []}
        ],
        "doubts": [
            {"kind": "sensor_silent", "place": "North shed", "since": AT, "until": None},
        ],
    }


def paper_pages(
    change: Callable[[Any], Any], *, now: datetime, formats: Formats
) -> Mapping[str, dict[str, Any]]:
    """Return the contexts of these pages by template."""
    kept = record()
    claim = Claim(id=7, key=UUID(int=7), lot_id=1, at=now, by="Rosa", record=kept, checksum="")
    claim.checksum = checksum(kept)
    stay = StayLine(
        place="pine/north",
        where="North shed, Pine Street",
        since=now - timedelta(days=2),
        until=now,
        lasted="2 days",
        bottom="50–61",
        mean="55",
        within="48–63",
        unknown="3 h",
        apart="6 h",
    )
    line = DrumLine(
        tag="K7Q-X4M",
        side="iso",
        product="Northwind A",
        lot="2231",
        stays=(stay, stay),
        events=(EventView(at=now, recorded_at=now, by="Rosa", kind="opened", words="Opened."),),
        poured=("Some of it was poured into R8H-3NB.",),
        cold="Was cold.",
        end="It was emptied.",
        pulls=((4, "On list 4, wanted at once, not taken."),),
        claim=7,
    )
    return {
        "trace.html": {
            "query": TraceQuery(lot="2231"),
            "title": change("lot 2231"),
            "trace": change(
                TraceView(
                    drums=(line,),
                    receivers=(line,),
                    lots=(("1 drum of lot 2231", "nw-a", "2231"),),
                    used=("Box van (vehicle, Pine Street)",),
                    sensors=(
                        SensorLine(
                            name="hall",
                            place="North shed",
                            since=now,
                            until=None,
                            error="0.9 °F",
                            corrected="as it came",
                        ),
                    ),
                    doubts=(DoubtLine(words="A sensor was not heard.", since=now, until=None),),
                    limits=(
                        LimitsLine(
                            product="Northwind A",
                            limits=(LimitView(name="Seeding", c=10.0, origin="practice"),),
                        ),
                    ),
                )
            ),
            "choices": [("nw-a", change("Northwind A"))],
            "faults": [
                (
                    "Lot",
                    Fault(
                        "lot",
                        change("22 31"),
                        "is no lot code",
                        "Read the print and type what holds.",
                    ),
                )
            ],
            "places": [("pine/north", change("North shed"))],
            "page": "trace",
        },
        "claims.html": {
            "claims": (
                change(ClaimRow(number=7, words="1 drum", at=now, by="Rosa", state="open")),
            ),
            "page": "claims",
        },
        "claim.html": {
            "claim": change(claim_view(claim, formats=formats)),
            "state": "open",
            "notes": (change(NoteView(at=now, by="Mara", state="sent", text="By mail.")),),
            "photos": (change(photo(now)),),
            "shows": SHOWS_WORDS,
            "states": [(state.value, STATE_WORDS[state]) for state in ClaimState],
            "note_id": "5b1c0f6e-2f3a-4a63-9c0d-6b6f3d0a7a11",
            "may_note": True,
            "may_settle": True,
            "page": "claims",
        },
    }
