"""Which events make sense for a drum now, and what stands against each."""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from drumkeep.domain.conditions import Condition
from drumkeep.domain.drums import DrumFacts, Hold, Recheck
from drumkeep.domain.event_checks import OFFERED, Standing, makes_sense, refusal, to_confirm
from drumkeep.domain.events import EventKind
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Side

NOW = datetime(2027, 2, 5, 7, tzinfo=UTC)
FACTS = DrumFacts(received_at=NOW, place=1, net_kg=200.0, stays=())
ISO = Standing(facts=FACTS, side=Side.ISO)
RESIN = Standing(facts=FACTS, side=Side.RESIN)
OPENS = (EventKind.OPENED, EventKind.DECANTED, EventKind.TOPPED)
LOOKS_ON = (EventKind.INSPECTED, EventKind.WANTED, EventKind.HELD, EventKind.SKIN)


def sense(drum: Standing, kind: EventKind, **facts: Any) -> bool:
    return makes_sense(kind, replace(drum, facts=replace(drum.facts, **facts)))


def test_every_kind_but_receipt_and_correction_is_offered_somewhere() -> None:
    assert {*OFFERED, EventKind.RECEIVED, EventKind.CORRECTED} == set(EventKind)


def test_what_makes_no_sense_is_not_offered() -> None:
    hold = Hold(reason="x", since=NOW, by=None)
    assert sense(ISO, EventKind.OPENED)
    assert not sense(ISO, EventKind.OPENED, open=True)
    assert not sense(ISO, EventKind.VENTED, open=True)
    assert sense(ISO, EventKind.RESEALED, open=True)
    assert not sense(ISO, EventKind.RESEALED)
    assert not sense(ISO, EventKind.DECANTED, net_kg=0.0)
    assert not sense(ISO, EventKind.RELEASED)
    assert sense(ISO, EventKind.RELEASED, hold=hold)
    assert not sense(ISO, EventKind.HELD, hold=hold)
    assert not sense(ISO, EventKind.WEIGHED, ended=EventKind.EMPTIED)


def test_the_ratio_pulses_only_at_drums_that_feed_a_gun_and_are_not_put_up_yet() -> None:
    rig = replace(ISO, place_kind=PlaceKind.RIG)
    assert not sense(ISO, EventKind.RATIO_OFF)
    assert sense(ISO, EventKind.RATIO_OFF, open=True)
    assert sense(rig, EventKind.RATIO_OFF)
    assert not sense(rig, EventKind.RATIO_OFF, recheck=Recheck(since=NOW))


@pytest.mark.parametrize(
    "drum",
    [
        replace(ISO, facts=replace(FACTS, bulged=True)),
        replace(RESIN, conditions=(Condition.OVERPRESSURE.value,)),
        replace(ISO, too_hot=True),
    ],
)
def test_a_dangerous_drum_is_looked_at_and_nothing_else(drum: Standing) -> None:
    for kind in OFFERED:
        handled = kind not in (*LOOKS_ON, EventKind.RELEASED, EventKind.RATIO_OFF)
        assert (refusal(kind, drum) is not None) >= handled, kind
    assert all(refusal(kind, drum) is None for kind in LOOKS_ON)


def test_iso_that_sweats_is_not_opened_and_a_bung_is_cracked_only_by_who_is_sure() -> None:
    wet = replace(ISO, dew_margin_k=1.9)
    dry = replace(ISO, dew_margin_k=2.1)
    for kind in OPENS:
        assert "sweats" in (refusal(kind, wet) or "")
        assert refusal(kind, dry) is None
        assert refusal(kind, replace(wet, side=Side.RESIN)) is None
    for kind in (EventKind.VENTED, EventKind.DIPPED, EventKind.AGITATED, EventKind.BLANKETED):
        assert refusal(kind, wet) is None
        assert "sweats" in (to_confirm(kind, wet) or "")
        assert to_confirm(kind, dry) is None
    assert refusal(EventKind.MOVED, wet) is None


def test_solids_suspected_are_looked_for_before_a_drum_is_used() -> None:
    drum = replace(ISO, conditions=(Condition.SOLIDS_SUSPECTED.value,))
    for kind in OPENS:
        assert "look first" in (to_confirm(kind, drum) or "")
    assert to_confirm(EventKind.INSPECTED, drum) is None


def test_gassing_resin_is_opened_only_by_who_vents_slowly() -> None:
    drum = replace(RESIN, conditions=(Condition.GASSING.value,))
    for kind in (*OPENS, EventKind.VENTED, EventKind.AGITATED):
        assert "vent slowly" in (to_confirm(kind, drum) or "")
    assert to_confirm(EventKind.OPENED, replace(drum, facts=replace(FACTS, open=True))) is None
    assert to_confirm(EventKind.MOVED, drum) is None
