"""A day in the shed by keyboard alone, in a real Chromium: Tab, arrows, Enter, Space and typing."""

from collections.abc import Iterator

import pytest

from tests.builders.stock import ago
from tests.fixtures.devtools import Chromium, Page
from tests.fixtures.elsewhere import look_at_alarms
from tests.fixtures.hands import PHONE
from tests.fixtures.pulling import Pulling, pulling
from tests.fixtures.serving import MANAGER, PASSWORD, manager, serving
from tests.fixtures.yard import Yard, yard

__all__ = ["manager", "pulling", "serving", "yard"]

pytestmark = [pytest.mark.browser, pytest.mark.slow]

GS1 = "]C101095060001343523201005510112601131727011310B-79"
"""A supplier's label, as a hand-held scanner types it (GS1 General Specifications, GS1-128)."""

MOST_STOPS = 90
AT = """(() => {
  const at = document.activeElement;
  const style = getComputedStyle(at);
  const box = at.getBoundingClientRect();
  const outline = style.outlineStyle === "none" ? 0 : parseFloat(style.outlineWidth);
  const seen = box.width > 0 && box.bottom > 0 && box.top < innerHeight;
  return [at.matches(WANTED), outline >= 2, seen];
})()"""


class Keys:
    """Somebody who has no mouse; every stop on the way shows where it is."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def go(self, path: str) -> None:
        """Type an address."""
        self.page.goto(path)

    def to(self, selector: str) -> None:
        """Press Tab until something has the focus, and see that it shows."""
        self.page.wait_for("document.readyState === 'complete' && !!document.activeElement")
        for _ in range(MOST_STOPS):
            self.page.press("Tab")
            there, outlined, seen = self.page.evaluate(AT.replace("WANTED", repr(selector)))
            if there:
                assert outlined, f"nothing shows that {selector} has the focus"
                assert seen, f"{selector} has the focus out of sight"
                return
        pytest.fail(f"no way by Tab to {selector}")

    def write(self, selector: str, text: str) -> None:
        """Type into a field."""
        self.to(selector)
        self.page.type(text)

    def choose(self, selector: str, value: str) -> None:
        """Choose from a list by the arrows."""
        self.to(selector)
        for _ in range(MOST_STOPS):
            if self.page.evaluate("document.activeElement.value") == value:
                return
            self.page.press("ArrowDown")
        pytest.fail(f"no way by arrows to {value} in {selector}")

    def press(self, selector: str, key: str = "Enter") -> None:
        """Press a button, open a part of the page, follow a link, tick a box."""
        self.to(selector)
        self.page.press(key)

    def scan(self, text: str, *, into: str) -> None:
        """Type into the field that has the focus by itself, and press Enter."""
        self.page.wait_for(
            f"document.activeElement.id === '{into}' && document.readyState === 'complete'"
        )
        self.page.type(text)
        self.page.evaluate("window.before = true")
        self.page.press("Enter")


@pytest.fixture
def keys(chromium, serving, tmp_path) -> Iterator[Keys]:
    """Give a browser in which the manager has signed in."""
    browser = Chromium(program=chromium, profile=tmp_path)
    with serving.client() as client:
        answer = client.post("/sign-in", data={"name": MANAGER, "password": PASSWORD})
    name, _, value = answer.headers["Set-Cookie"].partition(";")[0].partition("=")
    with browser.page(serving.url, width=PHONE[0], height=PHONE[1]) as tab:
        tab.call("Network.setCookie", name=name, value=value, url=serving.url)
        yield Keys(tab)
    browser.close()


def test_whoever_has_no_mouse_receives_moves_answers_weighs_and_pulls(
    keys: Keys, yard: Yard, pulling: Pulling
):
    page = keys.page
    cold = yard.receive(place=yard.place("van"), liquid_c=3.0, at=ago(5.0))["tag"]
    iso, _ = pulling.warm("iso"), pulling.warm("resin")
    pull = pulling.pull()
    look_at_alarms(yard)
    alarms = yard.client.get("/api/v1/alarms", params={"state": "unacknowledged"}).json()["items"]
    (alarm,) = [one for one in alarms if cold in one["drums"] and one["kind"] == "cold_load"]

    keys.go("/receive")
    keys.scan(GS1, into="label")
    page.wait_for("document.querySelector('#lot').value === 'B-79'")
    keys.choose("#product", yard.iso)
    keys.write("#count", "1")
    keys.choose("#place", yard.place("hall"))
    keys.write("#temperature", "63")
    keys.press("[name=fine]", "Space")
    keys.press(".receive .strong")
    page.wait_for("location.pathname.startsWith('/receipts/')")
    new = page.evaluate("document.querySelector('.receipt-drums a').textContent")

    keys.go("/move")
    for text in (new, yard.place("van")):
        keys.scan(text, into="scan")
        page.wait_for("!window.before && document.readyState === 'complete'")
    keys.press("[name=do][value=move]")
    page.wait_for("location.pathname.startsWith('/moves/')")
    assert yard.get(new)["place"] == yard.place("van")

    # A live update leaves the focus on the button, though the page was put in anew.
    answer = f"form[action$='{alarm['id']}/acknowledge'] button"
    keys.go("/alarms")
    keys.to(answer)
    page.evaluate("window.old = document.querySelector('#main')")
    yard.record(iso, "agitated", minutes=1)
    page.wait_for("document.querySelector('#main') !== window.old")
    assert page.evaluate(f"document.activeElement.matches({answer!r})")
    page.press("Enter")
    page.wait_for(f"document.readyState === 'complete' && !document.querySelector({answer!r})")

    keys.go(f"/d/{iso}")
    keys.press(".verdict-from a[href$='#record-h']")
    page.wait_for("location.pathname.startsWith('/drums/')")
    keys.press("#do-inspected summary")
    keys.choose("#do-inspected-solids", "none")
    keys.press("#do-inspected .strong")
    page.wait_for("document.body.innerText.includes('Looked:')")
    keys.press("#do-weighed summary")
    keys.write("#do-weighed-w", "480")
    keys.press("#do-weighed .strong")
    page.wait_for("document.body.innerText.includes('Weighed: ')")

    keys.go(f"/pulls/{pull['id']}")
    keys.scan(iso, into="tag")
    page.wait_for("document.querySelectorAll('.is-taken').length === 1")
    assert page.faults == []
