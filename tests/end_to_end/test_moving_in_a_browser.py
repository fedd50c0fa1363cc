"""Four drums moved in a real Chromium, on a phone and in gloves; taps and scans are counted."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.fixtures.devtools import Chromium, Page
from tests.fixtures.serving import MANAGER, PASSWORD, manager, serving
from tests.fixtures.yard import Yard, yard

__all__ = ["manager", "serving", "yard"]

pytestmark = pytest.mark.browser

PHONE = (390, 844)
GLOVE_PX = 48
MOST = 7
SMALL = f"""[...document.querySelectorAll(
  ".move button, .move input:not([type=hidden]), .move select, .move summary,"
  + " .move-next .button, .move-next button"
)].filter(e => e.type !== "checkbox").map(e => [e, e.getBoundingClientRect()])
  .filter(([e, box]) => box.width && box.height < {GLOVE_PX} - 0.5)
  .map(([e, box]) => `${{e.tagName}} ${{e.id}} ${{box.height}} px high`)"""
LISTED = "document.querySelectorAll('.move-list input:checked').length"


@pytest.fixture
def page(chromium: str, serving, yard, tmp_path: Path) -> Iterator[Page]:
    """Give a tab of a phone, signed in."""
    assert yard
    with serving.client() as client:
        answer = client.post("/sign-in", data={"name": MANAGER, "password": PASSWORD})
    name, _, value = answer.headers["Set-Cookie"].partition(";")[0].partition("=")
    browser = Chromium(program=chromium, profile=tmp_path / "profile")
    try:
        with browser.page(serving.url, width=PHONE[0], height=PHONE[1]) as tab:
            tab.call("Network.setCookie", name=name, value=value, url=serving.url)
            yield tab
    finally:
        browser.close()


def settled(page: Page) -> None:
    """Wait until the field has the focus, which scrolls the page to it."""
    page.wait_for("document.activeElement.id === 'scan' && document.readyState === 'complete'")


def scan(page: Page, text: str) -> int:
    """Do as a hand-held scanner: type, and end with Enter; the field waits for it by itself."""
    settled(page)
    page.type(text)
    page.press("Enter")
    return 1


def check_fits(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    assert page.evaluate(SMALL) == []
    assert page.faults == []


@pytest.mark.slow
def test_four_drums_are_moved_in_seven_taps_and_scans_and_taken_back(page: Page, yard: Yard):
    tags = [yard.receive()["tag"] for _ in range(4)]
    page.goto("/move")
    check_fits(page)
    reads = page.evaluate("'BarcodeDetector' in window")
    page.wait_for(
        f"(document.querySelector('.scan-camera').offsetParent !== null) === {str(reads).lower()}"
    )
    done = 0
    for count, tag in enumerate(tags, start=1):
        done += scan(page, f"https://drums.example/d/{tag}")
        page.wait_for(f"{LISTED} === {count}")
    done += scan(page, f"https://drums.example/places/{yard.place('van')}")
    page.wait_for("document.querySelector('#to').value !== ''")
    check_fits(page)
    button = "document.querySelector('.move-do .strong').getBoundingClientRect()"
    assert page.evaluate(f"{button}.bottom") <= PHONE[1]  # in reach without scrolling
    settled(page)
    page.click(".move-do .strong")
    done += 1
    page.wait_for("location.pathname.startsWith('/moves/')")
    assert done <= MOST
    assert "4 drums moved to" in page.text()
    assert {yard.get(tag)["place"] for tag in tags} == {yard.place("van")}
    check_fits(page)

    page.click(".move-next form button")
    page.wait_for("document.querySelector('h1').textContent === 'Taken back'")
    assert {yard.get(tag)["place"] for tag in tags} == {yard.place("hall")}

    page.scripts(on=False)  # and the same by a browser that runs none
    page.goto(f"/move?to={yard.place('van')}")
    page.wait_for("document.querySelector('#to')?.value")
    scan(page, tags[0])
    page.wait_for(f"{LISTED} === 1")
    settled(page)
    page.click(".move-do .strong")
    page.wait_for("location.pathname.startsWith('/moves/')")
    assert yard.get(tags[0])["place"] == yard.place("van")
