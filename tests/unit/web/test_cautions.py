"""Which cautions stand at what somebody is about to do."""

import pytest

from drumkeep.web import cautions
from drumkeep.web.wording import ACTION
from tests.unit.web.samples import drum, formats

US = formats()


@pytest.mark.parametrize("kind", list(ACTION))
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
