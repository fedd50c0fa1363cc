"""The words of the interface."""

from typing import Any

import pytest

from drumkeep.domain.quantities import celsius_from_fahrenheit as f
from drumkeep.web import cautions, wording
from drumkeep.web.view_models import VerdictView
from tests.unit.web.samples import HOUR, NOW, drum, formats, group

US = formats()


def said(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def test_sentence_is_the_figure_in_words():
    told = said(wording.sentence(drum(high_c=f(62)), US))
    assert told == (
        "Iso K7Q-X4M, lot 2231, 61 °F at the bottom (57–62), "
        "too cold for 20 lb a minute and over until about 2 pm tomorrow if moved to "
        "Warm room 1."
    )


def test_sentence_says_what_is_not_known():
    bare = drum(
        layers_c=None, bottom_c=None, low_c=None, high_c=None, basis=None, readiness="unknown"
    )
    told = wording.sentence(bare, US)
    assert "temperature not known" in told
    assert "not known whether it is ready" in told


def test_sentence_says_when_readings_do_not_support_it():
    told = wording.sentence(drum(basis="unsupported", readiness="unknown"), US)
    assert "not supported by readings" in told


@pytest.mark.parametrize("name", [name for name in wording.CONDITION if name != "clear"])
def test_sentence_names_every_condition(name: str):
    told = wording.sentence(drum(conditions=(name,)), US)
    assert wording.CONDITION[name] in told


def test_sentence_gives_hold_fill_and_warming():
    told = said(wording.sentence(drum(readiness="on_hold", hold_reason="expired", fill=0.4), US))
    assert "40 % full" in told
    assert "on hold: expired" in told
    assert "warming" in wording.sentence(drum(warming=True), US)


@pytest.mark.parametrize("readiness", ["on_hold", "unknown", "too_warm", "too_cold"])
def test_headline_of_a_drum_that_is_not_ready_never_begins_with_ready(readiness: str):
    assert not wording.headline(drum(readiness=readiness), US).lower().startswith("ready")


def test_bulge_outranks_pressure_and_both_outrank_readiness():
    assert wording.headline(
        drum(readiness="ready", conditions=("overpressure", "bulged")), US
    ).startswith("Bulged")
    assert wording.headline(drum(readiness="ready", conditions=("overpressure",)), US).startswith(
        "Under pressure"
    )


def test_time_in_the_warm_room_is_never_told_as_the_time_where_it_stands():
    state = wording.group_state(group(drum(), drum("M2T-9RA")), US)
    assert state.endswith("if moved to Warm room 1")
    alone = drum(ready_in_warm_room_at=None)
    assert "Warm room" not in wording.group_state(group(alone), US)


def test_group_with_several_states_counts_them_usable_first():
    mixed = group(drum(), drum("A", readiness="ready"), drum("B", readiness="ready"))
    assert wording.group_state(mixed, US) == "2 ready, 1 too cold"


def test_group_is_drawn_as_its_gravest_drum():
    worst = drum("BAD", readiness="on_hold", conditions=("bulged",))
    assert group(drum(readiness="ready"), worst, drum("C", readiness="unknown")).gravest is worst


@pytest.mark.parametrize("kind", list(wording.ACTION))
@pytest.mark.parametrize("condition", ["bulged", "overpressure"])
def test_form_that_handles_a_dangerous_drum_says_so_and_nothing_else(kind: str, condition: str):
    lines = cautions.cautions_for(kind, drum(conditions=(condition,)), US)
    if kind in ("held", "released", "wanted"):
        assert all("do not move" not in line for line in lines)
    else:
        assert len(lines) == 1
        assert "do not" in lines[0]


@pytest.mark.parametrize("kind", ["opened", "vented", "dipped", "agitated", "inspected"])
def test_opening_iso_always_warns_of_sensitising(kind: str):
    assert any("sensitise" in line for line in cautions.cautions_for(kind, drum(), US))


def test_heating_caution_names_the_products_own_maximum():
    assert any("never above 120" in line for line in cautions.cautions_for("wanted", drum(), US))
    bare = cautions.cautions_for("wanted", drum(limits=()), US)
    assert any("Never heat a tight drum" in line for line in bare)


def test_moving_caution_gives_the_weight_in_the_viewers_unit():
    # Common practice, no source: a heavy full drum weighs up to 600 lb (272 kg) gross.
    assert "600" in cautions.cautions_for("moved", drum(), US)[0]
    assert "272" in cautions.cautions_for("moved", drum(), formats("si"))[0]


def test_when_it_will_be_ready_is_told_from_earliest_to_latest():
    where: dict[str, Any] = {
        "ready_from": NOW + 3 * HOUR,
        "ready_in_warm_room_from": NOW + 2 * HOUR,
    }
    room, here = wording.ready_lines(drum(**where), US)

    assert room.startswith("Ready between ")
    assert room.endswith("if moved to Warm room 1.")
    assert "where it stands" in here
    assert " and " in here


def test_a_drum_that_is_not_surely_ready_in_four_days_may_be():
    plain: dict[str, Any] = {"ready_at": None, "ready_in_warm_room_at": None}
    (perhaps,) = wording.ready_lines(drum(**plain, ready_from=NOW + 30 * HOUR), US)
    (never,) = wording.ready_lines(drum(**plain), US)

    assert "not surely in four days" in perhaps
    assert "at best" in perhaps
    assert never.startswith("Not within the coming days")


def test_verdict_gives_one_time_that_fits_its_phrase():
    def told(**more):
        return wording.verdict_time(
            VerdictView(drum=drum(), phrase="NOT YET", reason="", do="", **more), US
        )

    assert told(time=NOW + HOUR).startswith("Ready about")
    assert told(time=NOW + HOUR, where="Warm room 1").endswith("if moved to Warm room 1")
    assert told() == ""


@pytest.mark.parametrize(
    ("phrase", "readiness", "conditions", "word"),
    [
        ("READY", "ready", (), "gloves"),
        ("READY", "ready", ("gassing",), "gassing"),
        ("LOOK FIRST", "on_hold", ("solids_suspected",), "gloves"),
        ("ASK", "unknown", (), "Vent slowly"),  # it is told to be dipped
        ("NOT YET", "too_cold", (), "Never heat a tight drum"),
        ("NOT YET", "too_warm", (), "drum truck"),
        ("NOT YET", "on_hold", (), "vented while you mix"),
        ("DO NOT OPEN", "on_hold", ("overpressure",), "Do not move"),
        ("DO NOT OPEN", "on_hold", ("bulged",), "Keep others away"),
        ("DO NOT OPEN", "ready", (), "Water"),
    ],
)
def test_verdict_carries_the_caution_that_fits_what_it_leads_to(
    phrase, readiness, conditions, word
):
    shown = drum(readiness=readiness, answer=phrase, conditions=conditions, cautions=())
    lines = cautions.verdict_cautions(phrase, shown)
    assert 1 <= len(lines) <= 2
    assert any(word in line for line in lines)


def test_drum_that_is_warm_but_sweats_is_never_just_ready():
    shown = drum(readiness="ready", answer="DO NOT OPEN")
    assert "shut" in wording.state_words(shown)
    assert "shut" in wording.headline(shown, US)
    assert "shut" in wording.sentence(shown, US)
    assert "shut" in " ".join(wording.marks(group(shown), US))


def test_drum_over_its_maximum_is_too_hot_and_does_not_sweat():
    shown = drum(readiness="too_warm", answer="DO NOT OPEN", conditions=(), too_hot=True)
    assert wording.headline(shown, US).startswith("Too hot")
    assert "over its maximum" in wording.sentence(shown, US)
    assert "over its maximum, keep away" in wording.drum_marks(shown)
    assert "sweat" not in " ".join((wording.sentence(shown, US), *wording.drum_marks(shown)))


def test_output_class_is_told_in_the_viewers_unit():
    # 20 lb is 9.07 kg (NIST SP 811).
    assert said(wording.output_words("from_20", US)) == "20 lb a minute and over"
    assert said(wording.output_words("under_20", formats("si"))) == "under 9 kg a minute"
