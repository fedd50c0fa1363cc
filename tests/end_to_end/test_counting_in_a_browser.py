"""A place is counted in a real Chromium with a hand-held scanner, and mended with one tap each."""

from collections.abc import Iterator

import pytest

from tests.fixtures.devtools import Chromium, Page
from tests.fixtures.plots import own_place
from tests.fixtures.serving import MANAGER, PASSWORD, manager, serving
from tests.fixtures.yard import Yard, yard

__all__ = ["manager", "serving", "yard"]

pytestmark = pytest.mark.browser

PHONE = (390, 844)
GLOVE_PX = 48
SMALL = """(least) => [...document.querySelectorAll("main button, main input:not([type=hidden])")]
  .map(e => [e, (e.closest("label.tick") ?? e).getBoundingClientRect()])
  .filter(([e, box]) => box.width && box.height < least - 0.5)
  .map(([e, box]) => `${e.tagName} ${e.id} ${e.textContent} ${box.height} px high`)"""


@pytest.fixture(scope="module")
def page(chromium: str, serving, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """Give a tab of a phone, signed in."""
    with serving.client() as client:
        answer = client.post("/sign-in", data={"name": MANAGER, "password": PASSWORD})
    name, _, value = answer.headers["Set-Cookie"].partition(";")[0].partition("=")
    browser = Chromium(program=chromium, profile=tmp_path_factory.mktemp("profile"))
    try:
        with browser.page(serving.url, width=PHONE[0], height=PHONE[1]) as tab:
            tab.call("Network.setCookie", name=name, value=value, url=serving.url)
            yield tab
    finally:
        browser.close()


def check_fits(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    assert page.evaluate(f"({SMALL})({GLOVE_PX})") == []
    assert page.faults == []


def scan(page: Page, text: str, *, tag: str) -> None:
    """Have a scanner type a code and Enter, with no tap before: the field waits for it."""
    page.wait_for("document.activeElement.id === 'scan' && document.readyState === 'complete'")
    page.type(text)
    page.press("Enter")
    page.wait_for(f"location.search === '?last={tag}'")


@pytest.mark.slow
def test_two_are_scanned_without_a_tap_and_each_difference_takes_one(page: Page, yard: Yard):
    here = own_place(yard, site=yard.site, name="Lean-to")
    missed = yard.receive(place=here)["tag"]
    right = yard.receive(place=here)["tag"]
    moved = yard.receive(place=yard.place("hall"))["tag"]
    page.goto(f"/stock/counts?place={here}")
    page.click("main form button")
    page.wait_for("document.querySelector('#scan') && document.readyState === 'complete'")
    check_fits(page)

    scan(page, f"https://drums.example/d/{right}", tag=right)
    scan(page, moved.replace("-", "").lower(), tag=moved)
    page.wait_for("document.readyState === 'complete'")
    assert "2 seen" in page.text()
    check_fits(page)
    page.click("form[action$='/finish'] button")
    page.wait_for(
        "!document.querySelector('#scan') && document.querySelectorAll('.differ form').length === 4"
    )
    check_fits(page)

    for tag in (moved, missed):
        page.click(f"#differ-{tag} button.strong")
        page.wait_for(
            f"document.querySelector('#differ-{tag}') && document.readyState === 'complete'"
            f" && !document.querySelector('#differ-{tag} button')"
        )

    assert yard.get(moved)["place"] == here
    assert yard.get(missed)["readiness"]["state"] == "on_hold"
    assert yard.get(right)["place"] == here


def test_the_page_of_rigs_is_fit_for_gloves(page: Page, yard: Yard):
    own_place(yard, site=yard.site, kind="rig", name="Truck 2")
    page.goto("/rig-checks")
    page.click("details summary")
    check_fits(page)
