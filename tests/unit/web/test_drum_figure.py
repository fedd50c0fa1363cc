"""The drum figure: what it says in words, and that it reads in black and white."""

from itertools import pairwise
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from drumkeep.domain.quantities import celsius_from_fahrenheit as f
from drumkeep.web.drum_words import sentence
from drumkeep.web.figure import FRAMES, Size, figure, tone
from drumkeep.web.templating import environment
from drumkeep.web.view_models import DrumView
from tests.unit.web.samples import drum, formats

SVG = "{http://www.w3.org/2000/svg}"
SIZES: tuple[Size, ...] = ("row", "tile", "page")
US = formats()
IN_BAND: dict[str, Any] = {
    "layers_c": (22.0,) * 8, "bottom_c": 22.0, "mean_c": 22.0, "top_c": 22.0, "readiness": "ready",
}  # fmt: skip


def drawn(view: DrumView, size: Size) -> ET.Element:
    template = environment().from_string(
        '{% from "macros/drum_figure.html" import drum_figure with context %}'
        "{{ drum_figure(drum, formats, size=size) }}"
    )
    text = template.render(drum=view, formats=US, size=size)
    return ET.fromstring(text.strip().replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" '))  # noqa: S314 - our own text


def marks(svg: ET.Element, name: str) -> list[ET.Element]:
    return [e for e in svg.iter() if name in e.get("class", "").split()]


def hatches(svg: ET.Element) -> set[str]:
    found = (e.get("fill", "") for e in svg.iter())
    return {
        fill.removeprefix("url(#hatch-").rstrip(")").split("-")[0]
        for fill in found
        if "url" in fill
    }


@pytest.mark.parametrize("size", SIZES)
def test_figure_is_an_image_named_by_its_sentence(size: Size):
    svg = drawn(drum(), size)
    ids = svg.get("aria-labelledby", "").split()
    texts = {e.get("id"): e.text for e in svg if e.tag in (f"{SVG}title", f"{SVG}desc")}
    assert svg.get("role") == "img"
    assert texts[ids[1]] == sentence(drum(), US)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(("side", "letter"), [("iso", "A"), ("resin", "B")])
def test_side_is_told_by_letter_and_by_the_shape_of_the_ring(size: Size, side: str, letter: str):
    svg = drawn(drum(side=side), size)
    assert [e.text for e in marks(svg, "fig-letter")] == [letter]
    assert len(marks(svg, "fig-ring-iso")) == (1 if side == "iso" else 0)
    assert len(marks(svg, "fig-ring-resin")) == (0 if side == "iso" else 2)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    ("changes", "mark"),
    [
        ({"conditions": ("solids_suspected",)}, "fig-solids"),
        ({"conditions": ("redissolving",)}, "fig-solids-open"),
        ({"conditions": ("seeding_risk",)}, "fig-seeding"),
        ({"conditions": ("gassing",), "side": "resin"}, "fig-gas"),
        ({"conditions": ("agent_loss_suspected",), "side": "resin"}, "fig-gas-lost"),
        ({"conditions": ("overpressure",)}, "fig-raised"),
        ({"conditions": ("bulged",)}, "fig-domed"),
        ({"readiness": "on_hold"}, "fig-strap"),
        ({"basis": "unsupported"}, "fig-dashed"),
        ({"warming": True}, "fig-clock"),
    ],
)
def test_every_condition_has_a_shape_of_its_own(size: Size, changes: dict[str, Any], mark: str):
    assert marks(drawn(drum(**changes), size), mark)
    assert not marks(drawn(drum(), size), mark)


@pytest.mark.parametrize("size", SIZES)
def test_cold_and_warm_differ_by_hatch_and_not_by_tint_alone(size: Size):
    cold = drawn(drum(), size)
    warm = drawn(drum(layers_c=(40.0,) * 8, bottom_c=40.0, mean_c=40.0, top_c=40.0), size)
    good = drawn(drum(**IN_BAND), size)
    assert hatches(cold) == {"cold"}
    assert hatches(warm) == {"warm"}
    assert hatches(good) == set()


@pytest.mark.parametrize(
    ("fahrenheit", "expected"),
    [
        (49.9, "colder"),
        (50.0, "cold"),
        (69.9, "cold"),
        (70.0, "use"),
        (90.0, "use"),
        (90.1, "warm"),
    ],
)
def test_tone_follows_the_products_own_limits(fahrenheit: float, expected: str):
    assert tone(f(fahrenheit), drum()) == expected


@pytest.mark.parametrize("fill", [0.0, 0.25, 0.6, 1.0])
@pytest.mark.parametrize("size", SIZES)
def test_height_of_the_liquid_is_the_fill(fill: float, size: Size):
    made = figure(drum(fill=fill), size=size, formats=US)
    frame = FRAMES[size]
    full = frame.floor - frame.lid - frame.wall
    assert sum(layer.height for layer in made.layers) == pytest.approx(fill * full, abs=0.1)
    assert made.layers[-1].y == pytest.approx(made.surface, abs=0.05)


def test_large_figure_writes_eight_temperatures_bottom_first():
    svg = drawn(drum(), "page")
    texts = [e.text for e in marks(svg, "fig-degrees")]
    assert texts == ["61°", "62°", "62°", "63°", "63°", "64°", "65°", "65°"]


@pytest.mark.parametrize("fill", [0.03, 0.2, 0.5, 1.0])
def test_layer_labels_never_lie_on_one_another(fill: float):
    made = figure(drum(fill=fill), size="page", formats=US)
    heights = [layer.text_y for layer in made.layers]
    step = FRAMES["page"].label_step
    assert all(a - b >= step - 0.05 for a, b in pairwise(heights))


def test_row_shows_the_bottom_and_the_rest_only():
    assert len(figure(drum(), size="row", formats=US).layers) == 2
    assert len(figure(drum(), size="tile", formats=US).layers) == 8


@pytest.mark.parametrize("size", SIZES)
def test_unknown_temperature_is_a_question_and_has_no_tint(size: Size):
    bare = drum(layers_c=None, bottom_c=None, mean_c=None, low_c=None, high_c=None, basis=None)
    svg = drawn(bare, size)
    assert [e.text for e in marks(svg, "fig-unknown")] == ["?"]
    assert not marks(svg, "fig-use")
    assert hatches(svg) == set()


def test_hand_of_the_clock_points_to_the_hour():
    made = figure(drum(warming=True), size="page", formats=US)  # ready at 2 pm
    assert made.clock == pytest.approx((0.866, -0.5), abs=1e-3)  # 60° past noon: sine, cosine up
    assert made.clock_hour.replace("\N{NO-BREAK SPACE}", " ") == "2 pm"


@pytest.mark.parametrize("size", SIZES)
def test_everything_drawn_stays_inside_the_frame_from_side_to_side(size: Size):
    frame = FRAMES[size]
    made = figure(drum(conditions=("solids_suspected",)), size=size, formats=US)
    inside = [x for x, _ in made.dots]
    assert all(frame.left < x < frame.right for x in inside)
    assert frame.bracket_x < frame.width
