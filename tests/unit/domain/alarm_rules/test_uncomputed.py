"""Drums that cannot be computed: one alarm a site, for no other rule sees them."""

from typing import Any

from drumkeep.domain.alarms import AlarmKind, Priority
from drumkeep.domain.places import PlaceKind
from tests.builders.alarms import drum, kinds, one

LOST: dict[str, Any] = {"computed": False, "supported": False, "bottom_low_c": None, "mean_c": None}


def test_drums_of_a_site_that_cannot_be_computed_are_one_alarm_for_the_manager():
    finding = one(
        drum("B", **LOST), drum("A", kind=PlaceKind.DOCK, **LOST), drum("C", kind=PlaceKind.YARD)
    )

    assert (finding.kind, finding.drums) == (AlarmKind.NOT_COMPUTED, ("A", "B"))
    assert (finding.priority, finding.audience) == (Priority.HIGH, ("manager",))
    assert (finding.site, finding.place) == (1, None)
    assert finding.message.startswith("Dip 2 iso drums before use: ")


def test_once_it_is_computed_nothing_is_told():
    assert kinds(drum("A")) == []


def test_nobody_is_sent_to_open_one_that_is_bulged():
    finding = one(drum("A", **LOST, bulged=True))

    assert finding.message.startswith("Keep off A, bulged or under pressure: do not open or move.")
    assert "dip" not in finding.message.lower()
