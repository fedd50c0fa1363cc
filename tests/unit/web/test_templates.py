"""The pages: escaped, fit for a strict Content-Security-Policy, usable by keyboard and reader."""

import re
from dataclasses import replace
from datetime import timedelta

import pytest
from jinja2 import UndefinedError

from drumkeep.web.figure import DRAWN_AT_ONCE, drawn_by_group
from drumkeep.web.formats import Formats
from drumkeep.web.templating import STATIC, TEMPLATES, floor_task, render, styles
from drumkeep.web.view_models import GroupView, TaskView
from drumkeep.web.views.papers import PapersView
from tests.fixtures.html import Page
from tests.unit.web.samples import VIEWER, drum, floor, formats, group, hostile, pages, shelf

HOSTILE = "\"'><script>alert(1)</script><img src=x onerror=alert(1)>{{ 7*7 }}"


NAMES = sorted(pages())
FIXED = {"no_connection.html"}
"""Pages that show nothing of what a person typed."""


@pytest.fixture(params=NAMES)
def page(request: pytest.FixtureRequest) -> Page:
    return Page(pages()[request.param])


def test_every_page_is_well_formed(page: Page):
    assert page.open == []


@pytest.mark.parametrize("name", NAMES)
def test_hostile_names_stay_text(name: str):
    calm = Page(pages()[name])
    text = pages(lambda view: hostile(view, HOSTILE))[name]
    page = Page(text)
    assert "{{ 7*7 }}" in text or name in FIXED
    assert len(page.all("script")) == len(calm.all("script"))
    assert len(page.all("img")) == len(calm.all("img"))
    for _, attributes in page.elements:
        assert not [key for key in attributes if key.startswith("on")]


@pytest.mark.parametrize("name", NAMES)
def test_link_that_a_person_could_have_typed_cannot_be_a_script(name: str):
    page = Page(pages(lambda view: hostile(view, "javascript:alert(1)"))[name])
    for attributes in page.all("a", "form"):
        target = attributes.get("href", attributes.get("action", ""))
        assert target.startswith(("/", "#", "?")), target


def test_no_page_needs_inline_script_or_style_attributes(page: Page):
    for tag, attributes in page.elements:
        assert "style" not in attributes
        assert not [key for key in attributes if key.startswith("on")]
        if tag == "script":
            assert attributes["src"].startswith(("/static/", "/bokeh/"))
        if tag == "style":
            assert attributes["nonce"] == "n0nce"


def test_ids_are_unique_and_what_is_referred_to_exists(page: Page):
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    for _, attributes in page.elements:
        for key in ("aria-labelledby", "aria-describedby", "for"):
            assert set(attributes.get(key, "").split()) <= set(ids)
        pattern = re.fullmatch(r"url\(#(.+)\)", attributes.get("fill", ""))
        assert pattern is None or pattern[1] in ids


def test_every_form_that_changes_something_carries_the_token(page: Page):
    forms = 0
    inside: list[dict[str, str]] | None = None
    for tag, attributes in page.elements:
        if tag == "form":
            posts = attributes.get("method") == "post"
            inside = [] if posts else None
            forms += posts
        elif tag == "input" and inside is not None:
            inside.append(attributes)
        elif tag == "button" and inside is not None:
            names = {a["name"]: a.get("value", "") for a in inside if a.get("type") == "hidden"}
            assert names["csrf"] in (VIEWER.csrf, "c")


def test_every_page_has_one_heading_of_the_first_order_and_a_language(page: Page):
    assert len(page.all("h1")) == 1
    assert page.all("html")[0]["lang"] == "en"


def test_every_field_has_a_label(page: Page):
    labelled = {a["for"] for a in page.all("label") if "for" in a}
    wrapped = {"reached_bottom", "regulator", "units", "lot", "sun"}  # stand inside their label
    wrapped |= {"drum", "drums", "places", "fine", "bulge", "scopes", "solids", "sure"}
    for attributes in page.all("input", "select"):
        if attributes.get("type") != "hidden":
            assert attributes.get("id") in labelled or attributes["name"] in wrapped


def test_keyboard_user_can_skip_to_the_page():
    text = pages()["floor.html"]
    assert text.index('class="skip" href="#main"') < text.index("<nav")


def test_verdict_is_one_answer_under_fifty_kilobytes():
    text = pages()["verdict.html"]
    page = Page(text)
    assert len(text.encode()) < 50_000
    assert page.all("script", "img") == []
    assert [link["rel"] for link in page.all("link")] == ["icon"]


def test_type_on_the_verdict_is_no_smaller_than_18_px_and_its_answer_is_72():
    sheet = str(styles("verdict.css"))
    sizes = [float(s) for s in re.findall(r"font(?:-size)?:[^;]*?([\d.]+)rem", sheet)]
    assert min(sizes) * 16 >= 18
    assert re.search(r"\.verdict h1 \{ font-size: 4\.5rem", sheet)


def test_no_more_than_sixty_single_drums_are_drawn_at_once():
    many = [
        shelf(group(*(drum(f"{code}-{n}") for n in range(50))), code=code)
        for code in ("one", "two", "three")
    ]
    text = render("floor.html", floor=floor(*many), viewer=VIEWER, formats=formats(), page="floor")
    single = re.findall(r'<span class="drum-stand">', text)
    assert len(single) == DRAWN_AT_ONCE
    assert text.count("These as a table") == 1
    assert text.count("All 50 as a table") == 1


def test_figures_that_look_alike_refer_to_one_drawing_on_the_page():
    alike = [group(drum(tag=f"AL{n}"), lot=f"7{n}") for n in range(3)]
    colder = group(drum(tag="CLD", bottom_c=2.0, mean_c=2.0, layers_c=(2.0,) * 8), lot="80")

    def drawn(*groups: GroupView) -> Page:
        view = floor(shelf(*groups))
        return Page(render("floor.html", floor=view, viewer=VIEWER, formats=formats()))

    def drawings(page: Page) -> set[str]:
        return {one["id"] for one in page.all("g") if one.get("id", "").startswith("drawing-")}

    page = drawn(*alike, colder)
    used = [one["href"].removeprefix("#") for one in page.all("use")]

    assert len(used) > len(alike)
    assert set(used) == drawings(page)
    assert len(drawings(page)) == len(drawings(drawn(alike[0]))) + len(drawings(drawn(colder)))
    assert drawings(page) > drawings(drawn(alike[0]))


def test_group_may_count_more_drums_than_were_loaded():
    view = group(drum(), size=400, by_readiness=(("too_cold", 390), ("ready", 10)))
    assert drawn_by_group([shelf(view)]) == [[1]]
    text = render("floor.html", floor=floor(shelf(view)), viewer=VIEWER, formats=formats())
    assert ">400<" in text
    assert "10 ready, 390 too cold" in text


def test_empty_list_says_when_it_was_checked():
    calm = hostile(floor(), "x")
    text = render(
        "floor.html",
        floor=type(calm)(tasks=(), shelves=(), checked_at=calm.checked_at),
        viewer=VIEWER,
        formats=formats(),
    )
    assert "Nothing to do now." in text
    assert "Checked" in text


def test_missing_context_is_refused():
    with pytest.raises(UndefinedError):
        render("floor.html", formats=formats())


def test_drum_page_works_for_a_viewer_who_may_record_nothing():
    text = render(
        "drum.html", drum=drum(), events=(), actions=(), history=(), ahead="here",
        papers=PapersView(), straps=(),
        past="days", by_hours=False, prints=(), viewer=VIEWER, formats=formats(),
    )  # fmt: skip
    assert "Record what you did" not in text
    assert "/events" not in text


def test_words_of_the_house():
    texts = [p.read_text("utf-8") for p in TEMPLATES.rglob("*.html")]
    for text in [*texts, *pages().values()]:
        visible = re.sub(
            r"<!doctype html>|\{[#%{].*?[#%}]\}|<style.*?</style>|<[^>]*>",
            "",
            text,
            flags=re.DOTALL,
        )
        assert "estimate" not in visible.lower()
        assert "!" not in re.sub(r"/\*.*?\*/", "", visible, flags=re.DOTALL)


def test_static_addresses_change_with_the_content_and_exist():
    for text in pages().values():
        for path, mark in re.findall(r'"/static/([^"?]+)\?v=([0-9a-f]+)"', text):
            assert (STATIC / path).is_file()
            assert len(mark) == 10


def test_a_task_without_a_deadline_is_drawn_once_a_day_and_one_with_it_at_every_look():
    later = replace(formats(), now=formats().now + timedelta(minutes=1))
    task = replace(floor().tasks[0], alarm_id="drawn once", deadline=None)
    due = replace(task, deadline=formats().now + timedelta(minutes=88))

    def drawn(one: TaskView, by: Formats) -> str:
        return floor_task(one, floor_page="", formats=by)

    assert drawn(task, later) is drawn(task, formats())
    assert "1 h 28 min left" in drawn(due, formats()).replace("\N{NO-BREAK SPACE}", " ")
    assert "1 h 27 min left" in drawn(due, later).replace("\N{NO-BREAK SPACE}", " ")
    assert drawn(replace(task, text="Bring <it> in"), later) != drawn(task, later)
    assert "&lt;it&gt;" in drawn(replace(task, text="Bring <it> in"), later)
