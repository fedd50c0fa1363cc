"""Pages of pull lists and of checks before hooking up, with everything in them."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from drumkeep.domain.pulls import Candidate
from drumkeep.domain.side_checks import CAUTION_LOOK
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.pulls import WrongDrum
from drumkeep.web.formats import Formats
from drumkeep.web.hookup import HookupQuery
from drumkeep.web.views.pulls import (
    CheckedDrum,
    CheckLine,
    CheckView,
    PullHead,
    PullLine,
    PullSide,
    PullView,
    codes_of,
)


def pull_pages(
    change: Callable[[Any], Any], *, now: datetime, formats: Formats
) -> Mapping[str, dict[str, Any]]:
    """Return the contexts of these pages by template."""
    head = PullHead(
        id=7,
        site="Pine Street",
        timezone="UTC",
        sets=2,
        iso="Northwind A",
        resin="Northwind B",
        output="from_20",
        wanted_at=now,
        made_at=now,
        by="Rosa",
        closed_as="",
    )
    line = PullLine(
        tag="K7Q-X4M",
        lot="2231",
        place="North shed",
        place_code="pine/north",
        net_kg=240.0,
        hindered="too cold",
        reason="The coldest liquid may be at 60 °F.",
        taken_at=None,
        taken_by=None,
    )
    taken = replace(line, tag="R8H-3NB", hindered="", taken_at=now, taken_by="Rosa")
    sides = tuple(
        PullSide(
            side=side,
            product="Northwind",
            wanted=3,
            taken=1,
            net_kg=480.0,
            lots="2231, 2240",
            lines=lines,
            lacks=("1 drum is missing.",),
            more_ready=True,
        )
        for side, lines in (("iso", (line, taken)), ("resin", ()))
    )
    view = PullView(head=head, sides=sides, one_system=False)
    instead = Candidate(
        drum_id=1,
        tag="M2T-9RA",
        place_id=1,
        lot_id=1,
        lot="2231",
        made_on=date(2027, 1, 1),
        fill=0.9,
        net_kg=200.0,
    )
    fault = Fault("tag", "K7Q-X4M", "is not ready in time", "Swap it for M2T-9RA.")
    wrong = WrongDrum("Do not take it.", fault, instead=change(instead), swaps=True)
    checked = CheckLine(
        id=3,
        at=now,
        by="Rosa",
        answer="do_not",
        words="do not hook up",
        tags=("K7Q-X4M", "R8H-3NB"),
        why="Both are A.",
    )
    check = CheckView(
        line=checked,
        reasons=("Both are A.",),
        drums=(
            CheckedDrum(tag="K7Q-X4M", side="iso", product="A", lot="2231", system="closed"),
            CheckedDrum(tag="R8H-3NB", side="resin", product="B", lot="77", system=None),
        ),
        pull=7,
        rig="Rig 1",
        old=False,
    )
    return {
        "pulls.html": {
            "given": {"id": "1", "sets": change("2")},
            "error": Invalid("There is no drum to take.", []),
            "faults": [
                ("How many sets", Fault("sets", change("99"), "is out of range", "Finish it."))
            ],
            "sites": (("pine", change("Pine Street")),),
            "pairs": (("a|b", change("Northwind A and B")),),
            "open": (change(head),),
            "past": (change(replace(head, id=6)),),
            "may_pull": True,
            "page": "pulls",
        },
        "pull.html": {
            "pull": change(view),
            "codes": codes_of(view, formats=formats, address="https://drums.example"),
            "error": wrong,
            "faults": (change("is not ready in time."),),
            "refused": change("K7Q-X4M"),
            "wrong": wrong,
            "instead_in": change("North shed"),
            "may_pull": True,
            "page": "pulls",
            "formats": formats,
        },
        "hookup.html": {
            "given": {
                "id": "1",
                "first": change("K7Q-X4M"),
                "second": "",
                "pull": "7",
                "rig": "",
            },
            "faults": (("First drum", Fault("first", change("K7"), "is empty", CAUTION_LOOK)),),
            "rigs": (("pine/rig-1", change("Rig 1")),),
            "pulls": ("7",),
            "checks": (change(checked),),
            "older": 3,
            "query": HookupQuery(drum=change("K7Q-X4M")[:200]),
            "answers": (("do_not", "do not hook up"),),
            "cautions": (CAUTION_LOOK,),
            "may_check": True,
            "page": "hookup",
        },
        "no_connection.html": {"hookup": True, "viewer": None},
        "hookup_answer.html": {
            "check": change(check),
            "cautions": (CAUTION_LOOK,),
            "page": "hookup",
        },
    }
