"""Every page with everything in it, in a real Chromium: who can use it, how wide, by which policy.

The pages are rendered from invented views (``tests/unit/web/samples.py``), so that each is there in
full; a real service gives them their styles and scripts.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

import pytest
from starlette.responses import HTMLResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from drumkeep.asgi.middleware import content_security_policy
from tests.fixtures import axe
from tests.fixtures.browser import TOO_SMALL
from tests.fixtures.devtools import Chromium, Page
from tests.fixtures.serving import MANAGER, PASSWORD, listening, serving
from tests.unit.web.samples import pages

__all__ = ["serving"]

pytestmark = [pytest.mark.browser, pytest.mark.slow]

PHONE: Final = (390, 844)
WALL: Final = (1600, 1000)
PAPER: Final = (703, 1000)
"""A4 between its margins of 12 mm, in CSS pixels of 1/96 inch."""

POLICY: Final = {"Content-Security-Policy": content_security_policy("n0nce")}

TO_PRESS: Final = """[...document.querySelectorAll("button, select, input")]
  .filter(e => e.checkVisibility()).map(e => `${e.tagName} ${e.name} ${e.textContent.trim()}`)"""
OPEN: Final = """document.querySelectorAll("main details").forEach(d => {
  d.removeAttribute("name");  // else one closes another
  d.open = true;
})"""
WIDE_ROWS: Final = """[...document.querySelectorAll(".folds")]
  .filter(e => innerWidth < 736 && e.scrollWidth > e.parentElement.clientWidth + 1)
  .map(e => e.className)"""
"""Tables that fold into lines on a phone and are wider than it all the same."""

CUT_OFF: Final = """[...document.querySelectorAll("main *, header *, nav *")].filter(e => {
  const style = getComputedStyle(e), box = e.getBoundingClientRect();
  if (box.width <= 1 || box.height <= 1 || !e.checkVisibility()) return false;
  const words = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
  if (!words || e.closest("svg, math, pre, .scroll, .unseen")) return false;
  const hides = ["hidden", "clip"].includes(style.overflowX) && e.scrollWidth > e.clientWidth + 1;
  return hides || box.right > innerWidth + 1 || box.left < -1;
}).map(e => `${e.tagName} ${e.className} ${e.textContent.trim().slice(0, 40)}`)"""


class Samples:
    """A service that shows pages of ours at addresses of theirs."""

    def __init__(self, app: ASGIApp, shown: Mapping[str, str]) -> None:
        self._app, self._shown = app, shown

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer with a page, or have the service answer."""
        html = self._shown.get(scope.get("path", "").removeprefix("/sample/"))
        app = self._app if html is None else HTMLResponse(html, headers=POLICY)
        await app(scope, receive, send)


@pytest.fixture(scope="module")
def shown() -> Mapping[str, str]:
    """Return every page."""
    return pages()


@pytest.fixture(scope="module")
def address(serving, shown: Mapping[str, str]) -> Iterator[str]:
    with listening(Samples(serving.app, shown)) as url:
        yield url


@pytest.fixture(scope="module")
def tab(chromium: str, address: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """Give a tab that is signed in, so that the scripts of pages find their service."""
    browser = Chromium(program=chromium, profile=tmp_path_factory.mktemp("profile"))
    try:
        with browser.page(address) as page:
            page.goto("/sign-in")
            page.click("#name")
            page.type(MANAGER)
            page.click("#password")
            page.type(PASSWORD)
            page.press("Enter")
            page.wait_for("location.pathname === '/floor'")
            yield page
    finally:
        browser.close()


@dataclass
class Told:
    """What was wrong with pages: their form, their policy, and what axe found."""

    form: list[str] = field(default_factory=list)
    policy: list[str] = field(default_factory=list)
    access: list[str] = field(default_factory=list)


@pytest.fixture(scope="module")
def told(tab: Page, shown: Mapping[str, str]) -> Told:
    """Walk through all pages: by day on a phone, by night on a wall."""
    found = Told()
    program = axe.source()
    if program is not None:
        axe.bring(tab, program)
    for (width, height), dark in ((PHONE, False), (WALL, True)):
        tab.resize(width, height)
        tab.prefer(dark=dark)
        for name in shown:
            tab.goto(f"/sample/{name}")
            tab.evaluate(OPEN)
            where = f"{name} at {width} px"
            wide = tab.evaluate("document.documentElement.scrollWidth")
            found.form += [f"{where}: {wide} px wide"] if wide > width else []
            found.form += [f"{where}: {words} is cut off" for words in tab.evaluate(WIDE_ROWS)]
            found.form += [f"{where}: {words} is cut off" for words in tab.evaluate(CUT_OFF)]
            found.form += [f"{where}: {what}" for what in tab.evaluate(TOO_SMALL)]
            found.policy += [f"{where}: {what}" for what in tab.faults if "Policy" in what]
            if program is not None:
                found.access += [f"{where}: {fault}" for fault in axe.faults(tab)]
    return found


def test_on_paper_every_page_fits_and_has_nothing_to_press(tab: Page, shown: Mapping[str, str]):
    wrong = []
    tab.resize(*PAPER)
    tab.call("Emulation.setEmulatedMedia", media="print")
    for name in shown:
        tab.goto(f"/sample/{name}")
        tab.evaluate(OPEN)
        wide = tab.evaluate("document.documentElement.scrollWidth")
        wrong += [f"{name}: {wide} px wide"] if wide > PAPER[0] else []
        wrong += [f"{name}: {what}" for what in tab.evaluate(TO_PRESS)]
    tab.call("Emulation.setEmulatedMedia", media="")
    assert not wrong, "\n".join(wrong)


def test_no_page_is_too_wide_cuts_words_off_or_has_controls_too_small_for_gloves(told: Told):
    assert not told.form, "\n".join(told.form)


def test_no_page_breaks_its_policy(told: Told):
    assert not told.policy, "\n".join(told.policy)


def test_no_page_has_a_serious_fault_of_access(told: Told):
    if axe.source() is None:
        pytest.skip(axe.REASON)
    assert not told.access, "\n".join(told.access)
