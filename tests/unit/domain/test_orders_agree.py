"""No order of an alarm contradicts the verdict on a drum under it, nor the forms of its page."""

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import pytest

from drumkeep.domain.alarms import AlarmKind
from drumkeep.domain.conditions import Condition, conditions_of
from drumkeep.domain.event_checks import Standing, refusal
from drumkeep.domain.events import EventKind
from drumkeep.domain.liquid_state import empty_states
from drumkeep.domain.products import Side, default_product
from drumkeep.domain.readiness import Ahead, Answer, Basis, Readiness
from drumkeep.domain.wording import plain
from tests.builders.alarms import NOW, STEP, drum, found
from tests.builders.verdicts import computed, facts, verdict

HANDLING = ("Move it", "Bring it", "Mix", "Agitate", "Open", "Dip", "Take it", "Probe")
"""With what an order begins that has somebody open or move a drum."""
SOON: dict[str, Any] = {"wanted_at": NOW + timedelta(hours=20), "ready": False}


@dataclass(frozen=True)
class Case:
    """A drum as its pressure and looks have it; what else its alarms and verdict see."""

    kpa: float
    side: Side = Side.RESIN
    bulged: bool = False
    over: bool = False
    mean_f: float = 78.0
    basis: Basis = Basis.MODELLED
    conditions: tuple[Condition, ...] = ()
    state: Readiness = Readiness.ON_HOLD
    alarmed: dict[str, Any] = field(default_factory=dict)

    @property
    def found(self) -> frozenset[Condition]:
        """Conditions as the computation has them."""
        states = empty_states(1)
        states["overpressure"], states["bulged"] = self.over, self.bulged
        mean_c = (self.mean_f - 32.0) / 1.8
        some = conditions_of(
            states,
            product=default_product(self.side),
            bottom_low_c=mean_c,
            mean_c=mean_c,
            pressure_kpa=self.kpa,
        )
        return some | frozenset(self.conditions)


DRUMS = {
    "resin too warm at 6 psi": Case(
        41.0,
        mean_f=97.0,
        alarmed={"gas_since": STEP - 9, "above_since": STEP - 9},
        state=Readiness.TOO_WARM,
    ),
    "resin in its use band at 31 kPa": Case(31.0, mean_f=85.0, alarmed={"gas_since": STEP - 9}),
    "resin whose alarm is still open at 26 kPa": Case(26.0),
    "cold resin with gas sealed in": Case(
        31.0,
        mean_f=52.0,
        alarmed={"below_since": STEP - 9, "start_by": NOW, **SOON},
        state=Readiness.TOO_COLD,
    ),
    "resin of unknown temperature at 35 kPa": Case(
        35.0, basis=Basis.UNSUPPORTED, state=Readiness.UNKNOWN
    ),
    "cold iso with gas sealed in": Case(
        32.0,
        Side.ISO,
        mean_f=45.0,
        alarmed={"seed_since": STEP - 9},
        state=Readiness.TOO_COLD,
    ),
    "iso with solids suspected at 32 kPa": Case(
        32.0, Side.ISO, mean_f=75.0, conditions=(Condition.SOLIDS_SUSPECTED,)
    ),
    "resin over the limit": Case(55.0, over=True, mean_f=97.0, alarmed={"gas_since": STEP - 9}),
    "bulged iso in the cold": Case(
        0.0, Side.ISO, bulged=True, mean_f=45.0, alarmed={"seed_since": STEP - 9}
    ),
    "bulged resin, late": Case(0.0, bulged=True, alarmed=SOON),
}


def alarms_of(case, tag="A"):
    return found(
        drum(
            tag,
            side=case.side,
            pressure_kpa=case.kpa,
            overpressure=case.over,
            bulged=case.bulged,
            mean_c=(case.mean_f - 32.0) / 1.8,
            supported=case.basis is not Basis.UNSUPPORTED,
            **case.alarmed,
        ),
        under={AlarmKind.PRESSURE: {tag}},
    )


def judged(case):
    return verdict(
        computed(case.mean_f, basis=case.basis),
        *case.found,
        product=default_product(case.side),
        pressure_kpa=case.kpa,
        facts=facts(bulged=case.bulged),
        ahead=Ahead(warm_room="Warm room", ready_in_warm_room_at=NOW, mixed_at=NOW),
    )


@pytest.mark.parametrize("case", DRUMS.values(), ids=DRUMS)
def test_a_drum_under_pressure_or_bulged_is_kept_off_by_verdict_alarms_and_forms_alike(case):
    told = judged(case)

    assert told.answer is Answer.DO_NOT_OPEN
    assert told.state is case.state
    assert told.ready_at is None
    assert not [line for line in told.advice if line.startswith(HANDLING)]
    assert "bulged" in told.reasons[0] or f"{case.kpa:.0f} kPa" in plain(told.reasons[0])
    standing = Standing(
        facts=facts(bulged=case.bulged), side=case.side, conditions=[c.value for c in case.found]
    )
    for kind in (EventKind.MOVED, EventKind.OPENED, EventKind.DIPPED, EventKind.AGITATED):
        assert refusal(kind, standing) is not None
    alarms = alarms_of(case)
    assert alarms or case.bulged
    for alarm in alarms:
        assert alarm.message.startswith("Keep off "), alarm


def test_one_kept_off_is_named_apart_in_an_alarm_that_has_others_moved():
    (seeding,) = [
        one
        for one in found(
            drum("A", seed_since=STEP - 9),
            drum("B", bulged=True, seed_since=STEP - 9),
            drum("C", seed_since=STEP - 9),
        )
        if one.kind is AlarmKind.SEEDING
    ]

    assert seeding.message.startswith("Bring 2 iso drums in")
    assert seeding.message.endswith("Keep off B, bulged or under pressure: do not open or move.")
    assert seeding.drums == ("A", "B", "C")


def test_gassing_resin_that_is_ready_is_vented_slowly_as_its_alarm_says():
    warm = verdict(computed(80.0), Condition.GASSING, product=default_product(Side.RESIN))
    (alarm,) = found(drum(side=Side.RESIN, gas_since=STEP - 9, mean_c=26.7))

    assert warm.answer is Answer.READY
    assert warm.advice[0].startswith("Cool it before opening, or vent it slowly")
    assert "cool before opening, or vent slowly" in alarm.message


@pytest.mark.parametrize("kpa", [0.0, 14.0, 24.9])
def test_a_drum_whose_pressure_alarm_could_not_be_open_keeps_its_own_answer(kpa):
    assert judged(Case(kpa, mean_f=80.0)).answer is Answer.READY
    assert alarms_of(Case(kpa)) == []
