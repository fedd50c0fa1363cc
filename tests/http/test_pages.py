"""What holds of every page: policy, hostile words, units, what stands on it for whom."""

import re
from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from tests.builders.stock import ago
from tests.fixtures.elsewhere import look_at_alarms, make_elsewhere
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import Yard

__all__ = ["manager", "serving"]

HOSTILE = "\"'><script>alert(1)</script><img src=x onerror=alert(1)>{{7*7}}{% x %}"
LOT = "L<b>&'\"%;/?x=1"
# The zones' fixed offsets (tz database, files asia and northamerica): no summer time in either.
ZONES = {"Asia/Kolkata": "+05:30", "America/Phoenix": "-07:00"}
MARKS = "{t:x}{t:1e400}{w:2026-02-31T00:00:00+00:00}{p:nan}{m:}{q:1}{0}%s"


@pytest.fixture(scope="module")
def hostile(serving, manager) -> Yard:
    """Give a yard where everything that a person can name is markup, marks or both."""
    return make_elsewhere(
        serving,
        manager,
        site={"name": HOSTILE},
        place={"name": HOSTILE[:60] + MARKS[:40]},
        product={"name": HOSTILE},
        lot=LOT,
    )


@pytest.fixture(scope="module")
def tags(hostile) -> list[str]:
    """Return drums with things said of them: one cold in a van, one held, one gone."""
    received = [
        hostile.receive(
            lot=LOT, place=hostile.place("van"), liquid_c=4.0, at=ago(6.0), note=HOSTILE
        ),
        hostile.receive(lot=LOT, product=hostile.resin, note=MARKS),
        hostile.receive(lot=LOT),
    ]
    cold, held, gone = (drum["tag"] for drum in received)
    hostile.record(held, "held", reason=HOSTILE + MARKS, note=HOSTILE)
    hostile.record(cold, "inspected", reached_bottom=True, note=MARKS)
    hostile.record(cold, "heated", device=HOSTILE, watts=100, until=ago(-1.0))
    hostile.record(gone, "emptied", note=HOSTILE)
    look_at_alarms(hostile)
    return [cold, held, gone]


@pytest.fixture(scope="module")
def reader(serving) -> Iterator[Person]:
    """Give a manager of a hostile name."""
    with signed_in(serving, "manager", display_name=HOSTILE) as person:
        yield person


@pytest.fixture(scope="module")
def pages(reader, tags) -> dict[str, str]:
    """Return the text of every page, by path."""
    paths = ["/floor?view=shelves", "/alarms", "/notices", "/me", "/sign-in", "/none"]
    paths += ["/floor/table"]
    paths += [f"/{page}/{tag}" for tag in tags for page in ("drums", "d")]
    paths += [f"/drums/{tag}/why" for tag in tags] + ["/methods"]
    paths += [f"/floor?view=shelves&lot={HOSTILE}", f"/drums/{HOSTILE[:3]}", "/d/AAA-AAA"]
    found = {path: reader.client.get(path).text for path in paths}
    bad = reader.fill(f"/drums/{tags[0]}", f"/drums/{tags[0]}/events", kind="dipped")
    bad.fields |= {"temperature": HOSTILE, "note": HOSTILE}
    found["a fault in a form"] = reader.send(bad).text
    return found


def test_no_page_has_inline_script_or_style_or_leads_to_one(pages):
    for path, text in pages.items():
        page = Page(text)
        assert page.open == [], path
        for tag, attributes in page.elements:
            assert "style" not in attributes, path
            assert not [name for name in attributes if name.startswith("on")], path
            for name in ("href", "src", "action", "formaction"):
                target = attributes.get(name, "/")
                # The verdict has an empty picture for its tab: one request less in a cold shed.
                no_icon = attributes.get("rel") == "icon" and target == "data:,"
                assert no_icon or target.startswith(("/", "#", "?")), (path, target)
            if tag == "script":
                assert attributes["src"].startswith(("/static/", "/bokeh/")), path
            if tag == "style":
                assert attributes["nonce"], path


def test_style_in_a_page_carries_the_nonce_of_its_own_answer(reader, tags):
    answer = reader.client.get(f"/d/{tags[0]}")
    (style,) = Page(answer.text).all("style")
    assert f"'nonce-{style['nonce']}'" in answer.headers["Content-Security-Policy"]
    answer = reader.client.get(f"/drums/{tags[0]}")
    (script,) = (s for s in Page(answer.text).all("script") if "nonce" in s)
    assert f"'nonce-{script['nonce']}'" in answer.headers["Content-Security-Policy"]


def test_hostile_names_and_notes_are_shown_as_they_were_typed(pages, tags):
    cold, held, gone = tags
    typed = re.sub(r"\s+", " ", HOSTILE)
    for path in ("/floor?view=shelves", "/alarms", "/me", f"/drums/{cold}", f"/drums/{held}"):
        assert typed in Page(pages[path]).words, path
    for path in (f"/drums/{cold}", f"/drums/{gone}", "a fault in a form"):
        assert typed in Page(pages[path]).words, path
    assert MARKS in Page(pages[f"/d/{held}"]).words
    assert LOT in Page(pages[f"/d/{cold}"]).words
    for text in pages.values():
        assert "<script>alert" not in text
        assert "<img src=x" not in text
        assert "49" not in re.findall(r"onerror=alert\(1\)&gt;(.{2})", text)


def test_lot_of_a_hostile_code_can_be_followed_to_its_drums(reader, tags):
    page = reader.get(f"/drums/{tags[0]}")
    (link,) = (a for a in page.all("a") if a["href"].startswith("/floor?lot="))
    (trace,) = (a for a in page.all("a") if a["href"].startswith("/trace?lot="))
    assert tags[0] in reader.client.get(trace["href"]).text
    assert tags[0] in reader.client.get(link["href"].replace("/floor?", "/floor/table?")).text


def test_readers_of_marks_that_are_none_get_json_too(hostile, tags):
    for tag in tags:
        assert hostile.get(tag)["tag"] == tag
    assert hostile.client.get("/api/v1/alarms").json()["items"]


def test_chart_of_a_drum_with_hostile_words_is_sound_json(reader, tags):
    for tag in tags:
        assert reader.client.get(f"/drums/{tag}/chart.json").json()["doc"]


@pytest.mark.parametrize("path", ["/floor?view=shelves", "/floor/table", "/drums/{}", "/alarms"])
def test_units_switch_every_figure_of_a_page(serving, tags, path):
    cold, held, _ = tags
    with signed_in(serving, "viewer") as person:
        for tag in (cold, held):
            us = person.get(path.format(tag)).words
            assert "°F" in us
            assert not re.search(r"°C|\bkg\b(?! and)|\bkPa\b", us.replace("°C and kg", "")), us
        form = person.fill(path.format(held), "/me/units")
        assert form.fields["units"] == "si"
        assert person.send(form).headers["Location"] == form.fields["next"]
        for tag in (cold, held):
            si = person.get(path.format(tag)).words
            assert "°C" in si
            assert not re.search(r"°F|\blb\b|\bpsi\b", si.replace("°F and lb", "")), si


def test_units_are_one_of_two_words(reader):
    answer = reader.send(reader.fill("/me", "/me/units", units="imperial"))
    assert answer.status_code == 422
    assert "imperial" in Page(answer.text).words
    assert reader.get("/me").form("/me/units").fields["units"] == "us"


def test_each_site_tells_its_own_time_on_one_floor(serving, manager):
    for zone in ZONES:
        there = make_elsewhere(
            serving,
            manager,
            site={"timezone": zone, "name": zone},
            place={"name": f"Van {zone}"},
            air_c={"van": -20.0},
        )
        there.receive(place=there.place("van"), liquid_c=14.0, at=ago(0.5))
        look_at_alarms(there)
    with signed_in(serving, "viewer", units="si") as person:
        text = person.client.get("/floor?view=shelves&side=iso").text
    for zone, offset in ZONES.items():
        (shelf,) = (part for part in text.split('<section class="shelf')[1:] if zone in part)
        items = [part.split("</li>")[0] for part in text.split('<li class="task')[1:]]
        tasks = [item for item in items if f"Van {zone}" in item]
        assert tasks
        for part in (shelf, *tasks):
            times = re.findall(r'<time datetime="([^"]+)"[^>]*>([^<]+)</time>', part)
            assert {moment[-6:] for moment, _ in times} == {offset}
            for moment, words in times:
                local = datetime.fromisoformat(moment).astimezone(ZoneInfo(zone))
                named = f"{local:%H:%M %Z}"  # two clocks stand on one page
                assert words.endswith((named, moment[11:16], "just now", "min ago"))
