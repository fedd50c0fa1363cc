"""The pages in a real Chromium: typed, tabbed, clicked, looked at, on a desk and on a phone.

Over 400 lines because all of it uses the one browser.
"""

import io
import re
import time
from collections.abc import Iterator

import httpx
import numpy as np
import pytest
import zxingcpp
from PIL import Image

from tests.builders.stock import ago, event
from tests.fixtures.browser import TOO_SMALL
from tests.fixtures.devtools import Chromium, Page
from tests.fixtures.elsewhere import look_at_alarms
from tests.fixtures.process import wait_until
from tests.fixtures.serving import MANAGER, PASSWORD, manager, serving
from tests.fixtures.yard import Yard, yard

__all__ = ["manager", "serving", "yard"]

pytestmark = pytest.mark.browser

MISSING = ("/none", "/drums/K7Q-X0M")
DESK = (1280, 900)
PHONE = (390, 844)
LAST_STOP = """[...document.querySelectorAll("*")].findLastIndex(
  e => e.matches("a[href], button, select, summary, textarea, input") && e.checkVisibility())"""
CHART = """(() => {
  const found = [];
  const walk = (root) => {
    for (const e of root.querySelectorAll("*")) {
      if (e.tagName === "CANVAS") found.push(e);
      if (e.shadowRoot) walk(e.shadowRoot);
    }
  };
  walk(document.getElementById("chart"));
  let drawn = 0, sum = 0;
  for (const canvas of found) {
    if (!canvas.width) continue;
    const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
    for (let i = 0; i < data.length; i += 4) {
      if (data[i + 3] && data[i] + data[i + 1] + data[i + 2] < 300) drawn++;
      sum = (sum * 31 + data[i] + data[i + 3]) % 1000003;
    }
  }
  return drawn > 500 ? [drawn, sum] : null;
})()"""


@pytest.fixture(scope="module")
def browser(chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chromium]:
    """Give one Chromium to all tests here; each has a tab of its own."""
    running = Chromium(program=chromium, profile=tmp_path_factory.mktemp("profile"))
    yield running
    running.close()


@pytest.fixture(scope="module")
def tags(yard) -> dict[str, str]:
    """Return drums by the answer that their label gives."""
    room, van = yard.place("room"), yard.place("van")
    drums = {
        "READY": yard.receive(place=room, liquid_c=27.0),
        "READY TOO": yard.receive(place=room, liquid_c=27.0, net_kg=90.0),
        "NOT YET": yard.receive(liquid_c=18.0),
        "TOO WARM": yard.receive(product=yard.resin, place=room, liquid_c=36.0),
        "COLD": yard.receive(place=van, liquid_c=3.0, at=ago(5.0)),
        "LOOK FIRST": yard.receive(place=room, liquid_c=27.0),
        "DO NOT OPEN": yard.receive(liquid_c=20.0),
        "ASK": yard.receive(product=yard.resin, liquid_c=20.0),
        "PRESSURE": yard.receive(product=yard.resin, liquid_c=60.0, at=ago(0.2)),
    }
    found = {answer: drum["tag"] for answer, drum in drums.items()}
    yard.record(found["LOOK FIRST"], "inspected", reached_bottom=True, solids="seen")
    yard.record(found["DO NOT OPEN"], "inspected", bulge="seen")
    yard.record(found["ASK"], "held", reason="somebody dented it at the dock, ask Mara about it")
    look_at_alarms(yard)
    return found


def cookie(serving) -> dict[str, str]:
    """Sign in and return the cookie that a browser keeps."""
    with serving.client() as client:
        answer = client.post("/sign-in", data={"name": MANAGER, "password": PASSWORD})
    name, _, value = answer.headers["Set-Cookie"].partition(";")[0].partition("=")
    return {"name": name, "value": value, "url": serving.url}


@pytest.fixture(scope="module")
def session(serving) -> dict[str, str]:
    return cookie(serving)


@pytest.fixture
def page(browser, serving, session, tags) -> Iterator[Page]:
    """Give a tab at a desk, signed in as the manager."""
    assert tags
    with browser.page(serving.url, width=DESK[0]) as tab:
        tab.call("Network.setCookie", **session)
        yield tab


def every_page(yard: Yard, tags: dict[str, str]) -> list[str]:
    """Return the address of every page, and of a drum's page in every state."""
    own = ["/floor?view=shelves", "/alarms", "/notices", "/me", "/sign-in", *MISSING]
    both = [f"/{page}/{tag}" for tag in tags.values() for page in ("d", "drums")]
    told = [f"/drums/{tags['NOT YET']}/why", "/methods", f"/places/{yard.place('hall')}"]
    sheets = ["/products", f"/products/{yard.resin}", "/receive"]
    sheets.append(f"/labels?tags={tags['READY']}&places={yard.place('hall')}")
    return [*own, *both, "/floor/table", *told, *sheets]


def focused(page: Page) -> str:
    """Return what the keyboard would act on: its id, else its address, else its words."""
    found: str = page.evaluate(
        "(a => a.id || a.getAttribute('href') || a.textContent.trim())(document.activeElement)"
    )
    return found


def tab_to(page: Page, selector: str) -> None:
    """Press Tab until something has the focus."""
    for _ in range(100):
        page.press("Tab")
        if page.evaluate(f"document.activeElement.matches({selector!r})"):
            return
    pytest.fail(f"no way by Tab to {selector}")


def picture(png: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"))


def test_browser_would_tell_of_faults(page):
    page.goto("/me")
    page.evaluate("document.body.setAttribute('style', 'color: red')")
    page.evaluate("fetch('/static/none.css').then(() => 0)")
    page.evaluate("setTimeout(() => nobody.knows(), 0)")
    told: list[str] = []

    def told_of_all() -> bool:
        told.extend(page.faults)
        return len(told) >= 3

    wait_until(told_of_all, "all three are told")
    assert re.search("Content Security Policy", str(told))
    assert re.search("404", str(told))
    assert re.search("nobody", str(told))


@pytest.mark.slow
def test_no_page_has_faults_is_too_wide_or_has_controls_too_small_for_gloves(page, yard, tags):
    for width, height in (DESK, PHONE):
        page.resize(width, height)
        for path in every_page(yard, tags):
            page.goto(path)
            if path.startswith("/drums/") and path not in MISSING and not path.endswith("/why"):
                page.wait_for(CHART)
            page.evaluate(
                "document.querySelectorAll('main details').forEach(d => { d.open = true; })"
            )
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= width, f"{path} at {width} px is {wide} px wide"
            assert page.evaluate(TOO_SMALL) == [], path
            # That an address says 404 or 422 is a fault of the address and not of its page.
            faults = [f for f in page.faults if path not in MISSING or not f.endswith(path)]
            assert faults == [], path


def test_somebody_signs_in_by_keyboard_alone(browser, serving, tags):
    assert tags
    with browser.page(serving.url) as tab:
        tab.goto("/alarms")
        tab.wait_for("location.pathname === '/sign-in'")
        stops = []
        for text in ("", "", MANAGER, PASSWORD):
            tab.press("Tab")
            stops.append(focused(tab))
            tab.type(text)
        assert stops == ["#main", "/floor", "name", "password"]
        tab.press("Enter")
        tab.wait_for(
            "location.pathname === '/alarms' && document.querySelector('main h1') !== null"
        )
        assert "Alarms" in tab.text()
        assert tab.faults == []


def test_keyboard_reaches_everything_in_order_and_shows_where_it_is(page, tags):
    drum = f"/drums/{tags['NOT YET']}"
    for path in ("/floor?view=shelves", drum, "/alarms", "/receive", "/stock"):
        page.goto(path)
        if path.startswith("/drums/"):
            page.wait_for(CHART)
        seen: list[str] = []
        for _ in range(200):
            page.press("Tab")
            stop = page.evaluate(
                """(() => {
                  const at = document.activeElement;
                  if (at === document.body) return null;
                  const style = getComputedStyle(at);
                  const box = at.getBoundingClientRect();
                  const all = [...document.querySelectorAll("*")];
                  return {
                    order: all.indexOf(at),
                    outline: style.outlineStyle === "none" ? 0 : parseFloat(style.outlineWidth),
                    seen: box.width > 0 && box.bottom > 0 && box.top < innerHeight && box.right > 0,
                    name: at.id || at.getAttribute("href") || at.textContent.trim(),
                  };
                })()"""
            )
            if stop is None or (seen and stop["order"] == seen[0] != seen[-1]):
                break  # from the last it goes on to the browser, or to the first
            assert stop["outline"] >= 2, stop
            assert stop["seen"], stop
            seen.append(stop["order"])
        assert len(seen) > 8
        assert seen == sorted(seen), "focus does not follow the page"
        assert seen[-1] == page.evaluate(LAST_STOP)


def test_group_opens_by_keyboard_and_leads_to_a_drum(page, yard, tags):
    page.goto(f"/floor?view=shelves&place={yard.place('room')}&readiness=ready")
    page.evaluate("document.querySelector('.group summary').focus()")
    page.press("Enter")
    page.wait_for("document.querySelector('.group').open")
    page.press("Tab")
    assert focused(page) == f"/drums/{tags['READY TOO']}"  # the partial one goes first
    page.press("Enter")
    page.wait_for(f"document.title.startsWith('{tags['READY TOO']}')")


def test_dip_is_recorded_by_keyboard_alone_and_the_page_tells_of_it(page, yard):
    tag = yard.receive(liquid_c=18.0)["tag"]
    page.goto(f"/drums/{tag}")
    assert "computed from the air" in page.text() or "measured" in page.text()
    page.evaluate("document.querySelector('#main').focus()")
    tab_to(page, "#do-dipped summary")
    page.press("Enter")
    tab_to(page, "#do-dipped-t")
    page.type("66.2")
    page.press("Tab")
    page.type("6")
    page.press("Enter")
    page.wait_for("document.body.innerText.includes('Dipped: 66')")
    assert "6 in above the bottom" in page.text().replace("\N{NO-BREAK SPACE}", " ")
    assert "measured in the drum within the last 2 hours" in page.text()
    assert yard.history(tag)["events"][-1]["data"]["c"] == pytest.approx((66.2 - 32.0) / 1.8)
    assert page.faults == []


def test_fault_in_a_form_is_told_with_a_way_back(page, yard):
    tag = yard.receive()["tag"]
    page.goto(f"/drums/{tag}")
    page.click("#do-agitated summary")
    page.click("#do-agitated-m")
    page.type("a while")
    page.click("#do-agitated .strong")
    page.wait_for("document.title.startsWith('That is no number')")
    assert "a while" in page.text()
    page.click("a.button")
    page.wait_for(f"document.title.startsWith('{tag}')")


def test_chart_is_drawn_and_drawn_anew_for_the_warm_room(page, tags):
    page.goto(f"/drums/{tags['NOT YET']}")
    here = page.wait_for(CHART)
    page.click("a[data-ahead=warm_room]")
    page.wait_for(f"JSON.stringify({CHART}) !== '{list(here)}'.replace(/ /g, '')")
    assert page.evaluate("location.search") == "?ahead=warm_room"
    current = page.evaluate("document.querySelector('[data-ahead][aria-current]').dataset.ahead")
    assert current == "warm_room"
    assert page.faults == []


def test_open_page_changes_without_being_loaded_when_somebody_else_records(page, yard):
    tag = yard.receive(liquid_c=19.0)["tag"]
    page.goto(f"/drums/{tag}")
    page.wait_for(CHART)
    page.evaluate("window.loadedOnce = true")
    page.click("#do-moved summary")
    assert yard.send(tag, event("held", reason="leaks at the chime")).status_code == 201
    page.wait_for("document.body.innerText.includes('leaks at the chime')")
    assert page.evaluate("window.loadedOnce")
    assert page.evaluate("document.querySelector('#do-moved').open")
    assert page.evaluate("document.querySelector('h1').textContent") == "On hold"
    assert page.wait_for(CHART)
    assert page.faults == []


@pytest.mark.slow
def test_what_is_half_written_stays_until_it_is_sent_or_given_up(page, yard):
    tag = yard.receive(liquid_c=19.0)["tag"]
    page.goto(f"/drums/{tag}")
    page.click("#do-held summary")
    page.click("#do-held-why")
    page.type("smells of")
    assert yard.send(tag, event("opened")).status_code == 201
    time.sleep(7.0)  # a renewal comes within four seconds of a change, and is told within two
    assert page.evaluate("document.querySelector('#do-held-why').value") == "smells of"
    assert "Opened." not in page.text()
    page.evaluate("document.querySelector('#do-held-why').value = ''")
    page.evaluate("document.activeElement.blur()")
    page.wait_for("document.body.innerText.includes('Opened.')")


def test_verdict_fits_a_small_phone_without_scrolling_by_day_and_by_night(page, tags):
    for dark in (False, True):
        page.prefer(dark=dark)
        page.resize(390, 700)
        for answer, tag in tags.items():
            page.goto(f"/d/{tag}")
            size = page.evaluate(
                "[document.documentElement.scrollHeight, document.documentElement.scrollWidth]"
            )
            assert size == [700, 390], answer
            phrase = page.evaluate("document.querySelector('h1').innerText.replace(/\\s+/g, ' ')")
            assert phrase.strip() in ("READY", "NOT YET", "DO NOT OPEN", "LOOK FIRST", "ASK")
            if answer in ("READY", "NOT YET", "DO NOT OPEN", "LOOK FIRST", "ASK"):
                assert phrase.strip() == answer
            assert (picture(page.screenshot()).mean() < 90) == dark, (answer, dark)


def test_dark_scheme_is_dark_all_over_the_chart_too(page, tags):
    page.goto(f"/drums/{tags['NOT YET']}")
    page.wait_for(CHART)
    light = picture(page.screenshot(whole=True))
    page.prefer(dark=True)
    drum = f"/drums/{tags['NOT YET']}"
    told = (drum, f"{drum}/why", "/methods")
    for path in ("/floor?view=shelves", "/alarms", "/notices", "/me", "/sign-in", *told):
        page.goto(path)
        if path == drum:
            page.wait_for("document.querySelector('#chart').childElementCount > 0")
            page.evaluate("new Promise(done => setTimeout(done, 400))")
        dark = picture(page.screenshot())
        assert dark.mean() < 60, path
        # No white box is left on the page, save the code, which readers expect dark on white.
        assert (dark > 245).mean() < 0.05, path
    assert light.mean() > 180
    assert page.faults == []


def test_pages_can_be_used_with_script_off(browser, serving, yard, tags):
    tag = yard.receive(liquid_c=18.0)["tag"]
    with browser.page(serving.url, width=PHONE[0], height=PHONE[1]) as tab:
        tab.scripts(on=False)
        tab.goto(f"/drums/{tag}")
        tab.click("#name")
        tab.type(MANAGER)
        tab.click("#password")
        tab.type(PASSWORD)
        tab.click(".strong")
        tab.wait_for(f"location.pathname === '/drums/{tag}' && document.readyState === 'complete'")
        assert "The curves need script." in tab.text()
        tab.click(".as-table summary")
        assert "Low to high" in tab.text()
        tab.click("a[data-ahead=warm_room]")
        tab.wait_for("location.search === '?ahead=warm_room'")
        tab.click("#do-agitated summary")
        tab.click("#do-agitated-m")
        tab.type("15")
        tab.click("#do-agitated .strong")
        tab.wait_for("document.body.innerText.includes('Mixed for 15 minutes.')")
        tab.goto(f"/floor?view=shelves&place={yard.place('room')}&readiness=ready")
        tab.click(".group summary")
        assert tags["READY TOO"] in tab.text()
        tab.click("nav a[href='/alarms']")
        tab.wait_for("location.pathname === '/alarms'")


def test_code_on_the_page_leads_a_phone_to_the_answer(page, serving, tags):
    for width, height in (DESK, PHONE):
        page.resize(width, height)
        page.goto(f"/drums/{tags['READY']}")
        page.wait_for("document.querySelector('.code-qr').complete")
        page.evaluate("document.querySelector('.code-qr').scrollIntoView({block: 'center'})")
        (code,) = zxingcpp.read_barcodes(Image.open(io.BytesIO(page.screenshot())))
        assert code.text == f"{serving.url}/d/{tags['READY']}"
        assert code.format is zxingcpp.BarcodeFormat.QRCode


def test_units_switch_by_the_name_and_come_back_to_the_same_place(page, yard):
    page.goto(f"/floor?view=shelves&place={yard.place('hall')}")
    assert "°F" in page.text()
    page.click(".top-me summary")
    page.click(".top-sheet button")
    page.wait_for("document.body.innerText.includes('18.0')")
    assert page.evaluate("location.search").endswith(f"place={yard.place('hall')}")
    page.click(".top-me summary")
    page.click(".top-sheet button")
    page.wait_for("!document.body.innerText.includes('°C')")


def test_signed_out_elsewhere_an_open_page_says_so(page, yard, serving):
    tag = yard.receive()["tag"]
    own = cookie(serving)
    page.call("Network.setCookie", **own)
    page.goto("/alarms")
    kept = {own["name"]: own["value"]}
    with httpx.Client(base_url=serving.url, cookies=kept) as same_person:
        csrf = same_person.get("/api/v1/session").json()["csrf"]
        same_person.delete("/api/v1/session", headers={"X-CSRF-Token": csrf})
    assert yard.send(tag, event("opened")).status_code == 201
    page.wait_for("!document.querySelector('#stale').hidden")
    assert "signed out" in page.text()
