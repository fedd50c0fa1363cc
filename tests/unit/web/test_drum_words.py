"""What is said of drums and of groups of them."""

from typing import Any

import pytest

from drumkeep.domain.quantities import celsius_from_fahrenheit as f
from drumkeep.web import drum_words
from drumkeep.web.view_models import VerdictView
from drumkeep.web.wording import CONDITION
from tests.unit.web.samples import HOUR, NOW, drum, formats, group

US = formats()


def said(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def test_sentence_is_the_figure_in_words():
    told = said(drum_words.sentence(drum(high_c=f(62)), US))
    assert told == (
        "Iso K7Q-X4M, lot 2231, 61 °F at the bottom (57–62), "
        "too cold for 20 lb a minute and over until about 2 pm tomorrow if moved to "
        "Warm room 1."
    )


def test_sentence_says_what_is_not_known():
    bare = drum(
        layers_c=None, bottom_c=None, low_c=None, high_c=None, basis=None, readiness="unknown"
    )
    told = drum_words.sentence(bare, US)
    assert "temperature not known" in told
    assert "not known whether it is ready" in told


def test_sentence_says_when_readings_do_not_support_it():
    told = drum_words.sentence(drum(basis="unsupported", readiness="unknown"), US)
    assert "not supported by readings" in told


@pytest.mark.parametrize("name", [name for name in CONDITION if name != "clear"])
def test_sentence_names_every_condition(name: str):
    told = drum_words.sentence(drum(conditions=(name,)), US)
    assert CONDITION[name] in told


def test_sentence_gives_hold_fill_and_warming():
    told = said(drum_words.sentence(drum(readiness="on_hold", hold_reason="expired", fill=0.4), US))
    assert "40 % full" in told
    assert "on hold: expired" in told
    assert "warming" in drum_words.sentence(drum(warming=True), US)


@pytest.mark.parametrize("readiness", ["on_hold", "unknown", "too_warm", "too_cold"])
def test_headline_of_a_drum_that_is_not_ready_never_begins_with_ready(readiness: str):
    assert not drum_words.headline(drum(readiness=readiness), US).lower().startswith("ready")


def test_bulge_outranks_pressure_and_both_outrank_readiness():
    both = drum(readiness="ready", conditions=("overpressure", "bulged"))
    assert drum_words.headline(both, US).startswith("Bulged")
    pressed = drum(readiness="ready", conditions=("overpressure",))
    assert drum_words.headline(pressed, US).startswith("Under pressure")


def test_time_in_the_warm_room_is_never_told_as_the_time_where_it_stands():
    state = drum_words.group_state(group(drum(), drum("M2T-9RA")), US)
    assert state.endswith("if moved to Warm room 1")
    alone = drum(ready_in_warm_room_at=None)
    assert "Warm room" not in drum_words.group_state(group(alone), US)


def test_group_with_several_states_counts_them_usable_first():
    mixed = group(drum(), drum("A", readiness="ready"), drum("B", readiness="ready"))
    assert drum_words.group_state(mixed, US) == "2 ready, 1 too cold"


def test_group_is_drawn_as_its_gravest_drum():
    worst = drum("BAD", readiness="on_hold", conditions=("bulged",))
    assert group(drum(readiness="ready"), worst, drum("C", readiness="unknown")).gravest is worst


def test_when_it_will_be_ready_is_told_from_earliest_to_latest():
    where: dict[str, Any] = {
        "ready_from": NOW + 3 * HOUR,
        "ready_in_warm_room_from": NOW + 2 * HOUR,
    }
    room, here = drum_words.ready_lines(drum(**where), US)

    assert room.startswith("Ready between ")
    assert room.endswith("if moved to Warm room 1.")
    assert "where it stands" in here
    assert " and " in here


def test_a_drum_that_is_not_surely_ready_in_four_days_may_be():
    plain: dict[str, Any] = {"ready_at": None, "ready_in_warm_room_at": None}
    (perhaps,) = drum_words.ready_lines(drum(**plain, ready_from=NOW + 30 * HOUR), US)
    (never,) = drum_words.ready_lines(drum(**plain), US)

    assert "not surely in four days" in perhaps
    assert "at best" in perhaps
    assert never.startswith("Not within the coming days")


def test_verdict_gives_one_time_that_fits_its_phrase():
    def told(**more):
        return drum_words.verdict_time(
            VerdictView(drum=drum(), phrase="NOT YET", reason="", do="", **more), US
        )

    assert told(time=NOW + HOUR).startswith("Ready about")
    assert told(time=NOW + HOUR, where="Warm room 1").endswith("if moved to Warm room 1")
    assert told() == ""


def test_drum_that_is_warm_but_sweats_is_never_just_ready():
    shown = drum(readiness="ready", answer="DO NOT OPEN")
    assert "shut" in drum_words.state_words(shown)
    assert "shut" in drum_words.headline(shown, US)
    assert "shut" in drum_words.sentence(shown, US)
    assert "shut" in " ".join(drum_words.marks(group(shown), US))


def test_drum_over_its_maximum_is_too_hot_and_does_not_sweat():
    shown = drum(readiness="too_warm", answer="DO NOT OPEN", conditions=(), too_hot=True)
    assert drum_words.headline(shown, US).startswith("Too hot")
    assert "over its maximum" in drum_words.sentence(shown, US)
    assert "over its maximum, keep away" in drum_words.drum_marks(shown)
    assert "sweat" not in " ".join((drum_words.sentence(shown, US), *drum_words.drum_marks(shown)))
