"""Drums on their way, with everything in them."""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any

from drumkeep.errors import Fault
from drumkeep.storage.tables.catalogue import Place
from drumkeep.web.moves import Plan
from drumkeep.web.views.moves import CarriedView, MovedView


def carried(tag: str, **changes: Any) -> CarriedView:
    usual: dict[str, Any] = {
        "side": "iso",
        "lot": "2231",
        "place": "North shed",
        "place_code": "pine/north",
    }
    return CarriedView(tag=tag, **(usual | changes))


def move_pages(change: Callable[[Any], Any], *, now: datetime) -> Mapping[str, dict[str, Any]]:
    """Return what the pages of moves are rendered from."""
    plan = Plan(drums=("K7Q-X4M",), to="pine/van", place="pine/north", at="2027-02-05T01:00")
    listed = (
        carried("K7Q-X4M"),
        carried("R8H-3NB", side="resin", refused="It went to the van meanwhile. Look there."),
        carried("QJ4-P7D", blocked="Bulged: do not move it."),
    )
    move = MovedView(
        key="3f7c",
        to="Box van",
        to_code="pine/van",
        at=now - timedelta(hours=1),
        recorded_at=now,
        by="Sam Ito",
        drums=listed[:2],
        back=False,
        timezone="America/Chicago",
    )
    return {
        "move.html": {
            "plan": plan,
            "listed": tuple(change(one) for one in listed),
            "beside": (change(carried("TTT-222")),),
            "beside_words": change("North shed"),
            "choices": (("pine/van", change("Box van (2 of 8 free)"), change("Box van")),),
            "to": Place(
                site_id=1,
                code="van",
                name=change("Box van"),
                kind="vehicle",
                motion="moving",
                standing="truck_floor",
            ),
            "faults": [Fault("to", change("pine/x"), "is not known", "Choose another.")],
            "may_record": True,
        },
        "scan.html": {
            "code": change("QQQ-111"),
            "faults": [Fault("code", change("QQQ-111"), "is not known", "Choose another.")],
        },
        "moved.html": {"move": change(move), "may_undo": True},
    }
