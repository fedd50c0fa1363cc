"""All causes together: one a place, a load, a sensor, a time."""

from datetime import timedelta

from drumkeep.domain.alarms import AlarmKind
from drumkeep.domain.gateway_clocks import ClockOff
from drumkeep.domain.grid import moment_of
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import Reason
from drumkeep.domain.products import Side
from drumkeep.domain.side_checks import CheckAnswer
from drumkeep.domain.wording import plain
from tests.builders.alarms import (
    NOW,
    STEP,
    battery,
    doubt,
    drum,
    found,
    gateway,
    one,
    rig,
    sensor,
    side_check,
)

HOURS = timedelta(hours=1)
YEAR = ClockOff(-365 * 86_400.0, since=NOW - HOURS, at=NOW)


def test_drums_that_are_well_raise_nothing():
    assert (
        found(drum(), drum("A", side=Side.RESIN), sensors=(sensor(),), gateways=(gateway(),)) == []
    )


def test_nothing_at_all_raises_nothing():
    assert found() == []


def test_messages_are_sentences_with_the_verb_first():
    findings = found(
        drum("A", seed_since=STEP - 5),
        drum("B", kind=PlaceKind.VEHICLE, cold_steps=30),
        drum("C", side=Side.RESIN, gas_since=STEP - 9, mean_c=26.0),
        drum("D", pressure_kpa=35.0),
        drum("E", overpressure=True, pressure_kpa=55.0),
        drum("F", side=Side.RESIN, kind=PlaceKind.YARD, below_since=STEP - 9),
        drum("G", wanted_at=NOW + 20 * HOURS, ready=False, start_by=NOW),
        drum("H", wanted_at=NOW + 20 * HOURS, ready=False),
        drum("I", lot_ref="north-iso/LOT-2", expires_at=NOW),
        drum("J", open_since=NOW - 5 * HOURS),
        drum("K", kind=PlaceKind.DOCK, pressure_kpa=-30.0),
        drum("L", open_since=NOW - 0.5 * HOURS, dew_margin_k=1.0),
        drum("M", kind=PlaceKind.RIG, recheck_since=NOW - HOURS),
        drum("N", computed=False),
        sensors=(
            sensor(last_at=None),
            sensor(name="attic-2", doubts=(doubt(Reason.STUCK, begun=NOW - HOURS),)),
            sensor(name="attic-3", doubts=(doubt(Reason.RANGE, begun=NOW - HOURS),)),
        ),
        gateways=(gateway(code="cellar", online=False), gateway(code="loft", clock_off=YEAR)),
        batteries=(battery(12.0),),
        rigs=(rig(last_at={}),),
        side_checks=(side_check(CheckAnswer.DO_NOT),),
    )

    assert {f.kind for f in findings} == set(AlarmKind)
    for finding in findings:
        words = plain(finding.message)
        assert words.endswith(".")
        assert words.split()[0] in {
            "Bring",
            "Look",
            "Cool",
            "Keep",
            "Warm",
            "Move",
            "Take",
            "Put",
            "Use",
            "Check",
            "Dip",
            "Restart",
            "Change",
            "Do",  # not hook up
            "Set",
        }
        assert "{" not in words


def test_findings_of_one_moment_have_each_their_own_key():
    everything = [
        drum(
            str(i),
            kind=kind,
            side=side,
            seed_since=STEP - 9,
            gas_since=STEP - 9,
            below_since=STEP - 9,
            above_since=STEP - 9,
            pressure_kpa=35.0,
            mean_c=26.0,
        )
        for i, (kind, side) in enumerate((k, s) for k in PlaceKind for s in Side)
    ]
    keys = [(f.kind, f.cause) for f in found(*everything)]

    assert len(keys) == len(set(keys))


def test_since_is_told_as_the_time_of_the_step():
    finding = one(drum(seed_since=STEP - 12))

    assert f"{{w:{moment_of(STEP - 12).isoformat()}}}" in finding.message
