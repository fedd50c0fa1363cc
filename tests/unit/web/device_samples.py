"""Views of gateways, of other devices and of sensors that nobody registered."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from drumkeep.domain.readings import GatewayKey, Rejection
from drumkeep.errors import Fault
from drumkeep.operations.foreign import ForeignMap
from drumkeep.operations.foreign_mappings import KnownMapping
from drumkeep.web.mappings import FIELDS
from drumkeep.web.refused import RefusedView
from drumkeep.web.views.gateways import GatewayView, GivenPassword
from drumkeep.web.views.mappings import TrialView, TriedView
from drumkeep.web.views.sparkplug import GroupView, NodeView
from drumkeep.web.views.strays import StrayView


def stray(now: datetime) -> StrayView:
    return StrayView(
        id=1,
        name="urn:dev:os:32473-found:temp",
        gateway="north/attic",
        registered=None,
        kept=3,
        first_at=now,
        last_at=now,
        last="72 °F",
        may_be=(("air", "Air"), ("floor", "Floor"), ("skin", "Skin of the drum")),
    )


def device_pages(change: Callable[[Any], Any], *, now: datetime) -> dict[str, dict[str, Any]]:
    """Return what the templates list, by template."""
    gateway = GatewayView(
        name="north/attic",
        urn="urn:dev:os:32473-attic",
        online=True,
        last_seen_at=now,
        made_at=now,
        made_by="ana",
        revoked_at=None,
        clock="Its clock is off by about a year.",
    )
    mapping = KnownMapping(
        "loft",
        GatewayKey("north", "attic"),
        ForeignMap(topic="sensors/+", name="topic[1]", value="item.t", unit="'F'"),
    )
    tried = TrialView(
        (TriedView("loft", "72 °F", "22.5 Cel", now),),
        (Rejection(1, "value", "warm", "is no number", "Send one."),),
    )
    group = GroupView(
        id=1,
        group="Shed",
        node="edge-1",
        gateway="north/attic",
        units=(("*temp*", "F"),),
        asks=True,
        nodes=(NodeView("edge-1", alive=True, asked_at=now),),
    )
    refused = RefusedView(7, "spBv1.0/Shed/NDATA/edge-1", "Temp has no value.", now, 2, 3)
    return {
        "gateways.html": {
            "gateways": (change(gateway),),
            "given": change(GivenPassword("north/attic", "0123456789abcdef")),
            "may_change": True,
            "writes_files": True,
        },
        "mappings.html": {
            "mappings": (change(mapping),),
            "expressions": FIELDS,
            "given": change({"topic": "sensors/+", "sample": "{}"}),
            "faults": (change(Fault("value", "item.", "is none", "Mend it.")),),
            "tried": change(tried),
            "gateways": ("north/attic",),
            "may_change": True,
        },
        "sparkplug.html": {
            "groups": (change(group),),
            "given": change({"group": "Shed", "sample": "0a"}),
            "faults": (change(Fault("Group", "a/b", "is none", "Mend it.")),),
            "tried": change(tried),
            "gateways": ("north/attic",),
            "may_change": True,
        },
        "refused.html": {
            "rows": (change(refused),),
            "more": 7,
            "oldest_days": 90,
            "ahead_minutes": 10,
        },
    }
