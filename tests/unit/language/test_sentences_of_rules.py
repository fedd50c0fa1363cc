"""What the rules say, now or years ago, comes out in Spanish; what people typed stays as typed."""

import re
from dataclasses import replace
from datetime import timedelta

import pytest

from drumkeep.domain.cautions import (
    CAUTION_BULGED,
    CAUTION_HEATING,
    CAUTION_ISO,
    CAUTION_PRESSURE,
    CAUTION_TOO_HOT,
)
from drumkeep.domain.condensation import WetAir
from drumkeep.domain.conditions import Condition
from drumkeep.domain.drums import Hold, Recheck
from drumkeep.domain.event_checks import OFFERED, Standing, refusal, to_confirm
from drumkeep.domain.gateway_clocks import ClockOff
from drumkeep.domain.heaters import Device, Heater, heating_cautions
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import Reason
from drumkeep.domain.products import Side, default_product
from drumkeep.domain.readiness import Ahead, Basis
from drumkeep.domain.side_checks import CheckAnswer
from drumkeep.domain.wording import moment, temperature
from drumkeep.language.tongue import tongue
from tests.builders import alarms, verdicts
from tests.builders.past import BEGIN

ENGLISH = re.compile(
    r"\b(the|of|is|and|not|it|its|for|with|be|by|may|this|that|was|are|drums?|liquid|before|from|"
    r"into|open|keep|ask|now|other|than|over|under|iso drum|resin|cold|warm)\b",
    re.IGNORECASE,
)
SHED = "Shed of the North and Open Yard"
"""A place's name: it says much that the rules say too."""

HELD = Hold(reason="Too cold and not ready", since=BEGIN, by=None)
COLD, WARM = verdicts.computed(40.0), verdicts.computed(95.0)
UNSUPPORTED = verdicts.computed(basis=Basis.UNSUPPORTED)
RESIN = default_product(Side.RESIN)
AHEAD = Ahead(
    ready_at=verdicts.NOW + timedelta(hours=30),
    mixed_at=verdicts.NOW + timedelta(hours=20),
    warm_room=SHED,
    ready_in_warm_room_at=verdicts.NOW + timedelta(hours=9),
)


def spanish(text: str) -> str:
    return tongue("es").say(text)


def english_left(text: str, *, typed: str = SHED) -> list[str]:
    return [match[0] for match in ENGLISH.finditer(spanish(text).replace(typed, ""))]


@pytest.mark.parametrize(
    "found",
    [
        verdicts.verdict(COLD),
        verdicts.verdict(COLD, ahead=AHEAD),
        verdicts.verdict(verdicts.computed(70.0, bottom_f=50.0)),
        verdicts.verdict(WARM),
        verdicts.verdict(verdicts.computed(200.0)),
        verdicts.verdict(),
        verdicts.verdict(product=RESIN),
        verdicts.verdict(WARM, Condition.GASSING, product=RESIN),
        verdicts.verdict(None, Condition.SEEDING_RISK),
        verdicts.verdict(None, Condition.SOLIDS_SUSPECTED),
        verdicts.verdict(None, Condition.SOLIDS_SUSPECTED, solids_seen=True),
        verdicts.verdict(None, Condition.REDISSOLVING),
        verdicts.verdict(None, Condition.BULGED),
        verdicts.verdict(None, Condition.OVERPRESSURE, pressure_kpa=55.0),
        verdicts.verdict(pressure_kpa=32.0),
        verdicts.verdict(pressure_kpa=-30.0),
        verdicts.verdict(facts=verdicts.facts(recheck=Recheck(since=BEGIN, other="M3T-9WR"))),
        verdicts.verdict(facts=verdicts.facts(recheck=Recheck(since=BEGIN, other=None))),
        verdicts.verdict(UNSUPPORTED),
        verdicts.verdict(replace(UNSUPPORTED, refused_k=-5.5)),
        verdicts.verdict(unknown=True),
        verdicts.verdict(expires_at=verdicts.NOW),
        verdicts.verdict(wet_air=WetAir(dew_c=19.5, humidity=70.0, assumed=True)),
    ],
)
def test_a_verdict_is_told_in_spanish_whatever_it_is(found):
    lines = (*found.reasons, *found.advice, *found.cautions)

    assert lines
    assert {line: left for line in lines if (left := english_left(line))} == {}


def test_every_alarm_is_told_in_spanish_and_the_place_keeps_its_name():
    hour = timedelta(hours=1)
    drums = [
        alarms.drum("A", seed_since=alarms.STEP - 5),
        alarms.drum("B", kind=PlaceKind.VEHICLE, cold_steps=30, seed_since=alarms.STEP - 5),
        alarms.drum("C", side=Side.RESIN, gas_since=alarms.STEP - 9, mean_c=26.0),
        alarms.drum("D", pressure_kpa=35.0),
        alarms.drum("E", overpressure=True, pressure_kpa=55.0),
        alarms.drum("F", side=Side.RESIN, kind=PlaceKind.YARD, below_since=alarms.STEP - 9),
        alarms.drum("G", wanted_at=alarms.NOW + 20 * hour, ready=False, start_by=alarms.NOW),
        alarms.drum("H", wanted_at=alarms.NOW + 21 * hour, ready=False),
        alarms.drum("I", lot_ref="north-iso/LOT-2", expires_at=alarms.NOW),
        alarms.drum("J", lot_ref="north-iso/LOT-3", expires_at=alarms.NOW + 48 * hour),
        alarms.drum("K", open_since=alarms.NOW - 5 * hour),
        alarms.drum("L", kind=PlaceKind.DOCK, pressure_kpa=-30.0),
        alarms.drum("M", kind=PlaceKind.RIG, recheck_since=alarms.NOW - hour),
        alarms.drum("N", kind=PlaceKind.JOB_SITE, seeds_at=alarms.NOW + hour, cold_hours=3.0),
        alarms.drum("O", kind=PlaceKind.WARM_ROOM, open_since=alarms.NOW, dew_margin_k=1.0),
        alarms.drum("P", kind=PlaceKind.YARD, mean_c=70.0),
    ]
    sensors = [
        alarms.sensor(last_at=None, place_name=SHED),
        *(
            alarms.sensor(
                name=reason.value,
                place_name=SHED,
                doubts=(alarms.doubt(reason, begun=alarms.NOW - hour),),
            )
            for reason in (Reason.STUCK, Reason.RANGE)
        ),
    ]
    off = ClockOff(-365 * 86_400.0, since=alarms.NOW - hour, at=alarms.NOW)
    found = alarms.found(
        *(replace(drum, place_name=SHED) for drum in drums),
        sensors=tuple(sensors),
        gateways=(alarms.gateway(online=False), alarms.gateway(code="barn", clock_off=off)),
        batteries=(alarms.battery(5.0),),
        rigs=(replace(alarms.rig(first_at=BEGIN, last_at={}), name=SHED),),
        side_checks=(
            replace(
                alarms.side_check(CheckAnswer.DO_NOT),
                rig=SHED,
                reason="Both are A, iso: K7Q-X4M and M3T-9WR.",
            ),
        ),
    )

    assert len({finding.kind for finding in found}) >= 17
    told = [finding.message for finding in found]
    assert {words: left for words in told if (left := english_left(words))} == {}
    for words in told:
        assert (SHED in words) == (SHED in spanish(words))


def test_what_stands_against_a_deed_is_told_in_spanish():
    told = {
        words
        for conditions in ((), ("overpressure",), ("gassing",), ("solids_suspected",))
        for bulged in (False, True)
        for hot in (False, True)
        for margin in (None, 0.5)
        for kind in OFFERED
        for drum in [
            Standing(
                facts=verdicts.facts(bulged=bulged),
                side=Side.ISO,
                conditions=conditions,
                dew_margin_k=margin,
                too_hot=hot,
            )
        ]
        for words in (refusal(kind, drum), to_confirm(kind, drum))
        if words is not None
    }

    assert len(told) == 8
    assert {words: left for words in told if (left := english_left(words))} == {}


def test_cautions_beside_a_heater_are_told_in_spanish():
    told = {
        words
        for device in Device
        for thermostat_c in (None, 99.0)
        for words in heating_cautions(
            Heater(
                device=device,
                watts=1000.0,
                until=verdicts.NOW + timedelta(hours=1),
                thermostat_c=thermostat_c,
            ),
            maximum_c=50.0,
            now=verdicts.NOW,
        )
    }

    assert len(told) == 5
    assert {words: left for words in told if (left := english_left(words))} == {}


def test_a_reason_that_somebody_typed_stays_as_it_was_typed():
    (reason,) = verdicts.verdict(facts=verdicts.facts(hold=HELD)).reasons

    assert spanish(reason) == "Retenido: Too cold and not ready."


@pytest.mark.parametrize(
    ("stored", "said"),
    [
        (
            (
                f"The coldest liquid may be at {temperature(12.34)}; for {{m:9.0718}} a minute and "
                f"over it must be at least {temperature(18.33)}."
            ),
            (
                "El líquido más frío puede estar a {t:12.34}; para {m:9.0718} por minuto o más "
                "debe estar al menos a {t:18.33}."
            ),
        ),
        (
            (
                "Bring 6 iso drums in from Truck 2 before {w:2026-01-31T05:00:00+00:00}: the "
                "lowest liquid reaches {t:10.00}. It will sit cold if nothing changes."
            ),
            (
                "Meta 6 tambores de iso de Truck 2 antes de {w:2026-01-31T05:00:00+00:00}: el "
                "líquido más bajo llega a {t:10.00}. Va a quedarse fría si nada cambia."
            ),
        ),
        (
            (
                "Keep off 1 drum in Ready: computed pressure up to {p:55.0}; over {p:50.0}: do not "
                "open, do not move, call."
            ),
            (
                "No se acerque a 1 tambor en Ready: presión calculada de hasta {p:55.0}; arriba de "
                "{p:50.0}: no abra, no mueva, llame."
            ),
        ),
        (
            (
                "Hang a thermometer beside the sensors of Yard: they say {t:61.00} and {t:70.00}, "
                f"doubted since {moment(BEGIN)}. Neither is believed more: all between counts as "
                "possible meanwhile."
            ),
            (
                "Cuelgue un termómetro junto a los sensores de Yard: dicen {t:61.00} y {t:70.00}, "
                f"en duda desde {moment(BEGIN)}. A ninguno se le cree más: mientras tanto todo lo "
                "de en medio cuenta como posible."
            ),
        ),
        (
            "A, K7Q-X4M: NOT YET. Dip the liquid and record it.",
            "A, K7Q-X4M: AÚN NO. Mida el líquido con termómetro y anótelo.",
        ),
    ],
)
def test_a_stored_sentence_keeps_its_marks_and_its_names(stored, said):
    assert spanish(stored) == said


@pytest.mark.parametrize("typed", ["Ask Jim, the drum is his", "Truck 7 {t:oops} {x}", "¿Ya?"])
def test_what_is_no_sentence_of_ours_stays(typed):
    assert spanish(typed) == typed


# Whoever reads Spanish must be warned no less than who reads English.
@pytest.mark.parametrize(
    ("caution", "words"),
    [
        (CAUTION_ISO, ("sensibilizante", "guantes", "ojos", "pulmones")),
        (CAUTION_BULGED, ("no lo mueva", "no lo abra", "Aléjese", "encargado")),
        (CAUTION_PRESSURE, ("no lo abra", "ni lo mueva")),
        (CAUTION_HEATING, ("Nunca caliente", "gas seco", "por debajo de su máximo")),
        (CAUTION_TOO_HOT, ("Deje de calentar", "no lo abra ni lo mueva", "aléjese")),
    ],
)
def test_a_caution_is_no_softer_in_spanish(caution, words):
    said = spanish(caution)

    assert [word for word in words if word not in said] == []
