"""Eight drums from one scan in a real Chromium, on a phone and in gloves; then their labels."""

from collections.abc import Iterator

import pypdfium2
import pytest
import zxingcpp

from tests.fixtures.devtools import Chromium, Page
from tests.fixtures.serving import MANAGER, PASSWORD, manager, serving
from tests.fixtures.yard import Yard, yard

__all__ = ["manager", "serving", "yard"]

pytestmark = pytest.mark.browser

ADDRESS = "https://drums.example"
PHONE = (390, 844)
GLOVE_PX = 48
MOST_TAPS = 12
SCAN = "]C101095060001343523201005510112601131727011310B-78"
SMALL = """(least) => [...document.querySelectorAll(
  ".receive button, .receive input:not([type=hidden]), .receive select, .receive summary,"
  + " .receipt-do a, .labels-list .tick"
)].map(e => [e, (e.closest("label.tick") ?? e).getBoundingClientRect()])
  .filter(([e, box]) => box.width && box.height < least - 0.5)
  .map(([e, box]) => `${e.tagName} ${e.id} ${box.height} px high`)"""


class Gloves:
    """Somebody at a phone whose taps are counted."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.taps = 0

    def tap(self, selector: str) -> None:
        self.page.click(selector)
        self.taps += 1

    def choose(self, selector: str, value: str) -> None:
        """Choose from a list: a tap opens it, another takes the line."""
        self.taps += 2
        self.page.evaluate(
            f"(() => {{ const e = document.querySelector({selector!r}); e.value = {value!r};"
            " e.dispatchEvent(new Event('change', {bubbles: true})); })()"
        )


@pytest.fixture
def page(chromium: str, serving, yard, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """Give a tab of a phone, signed in."""
    assert yard
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
    page.evaluate("document.querySelectorAll('main details').forEach(d => { d.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    assert page.evaluate(f"({SMALL})({GLOVE_PX})") == []
    assert page.faults == []


def received(page: Page) -> list[str]:
    page.wait_for("location.pathname.startsWith('/receipts/')")
    assert "8 drums received" in page.text()
    found: list[str] = page.evaluate(
        "[...document.querySelectorAll('.receipt-drums a')].map(a => a.textContent)"
    )
    return found


@pytest.mark.slow
def test_eight_are_received_in_a_dozen_taps_and_their_labels_can_be_read(
    page: Page, serving, yard: Yard
):
    serving.app.state.public_url = ADDRESS
    page.goto("/receive")
    check_fits(page)
    page.goto("/receive")
    gloves = Gloves(page)
    page.wait_for("document.activeElement.id === 'label'")
    page.type(SCAN)  # a hand-held scanner types, and ends with Enter
    page.press("Enter")
    page.wait_for("document.querySelector('#lot').value === 'B-78'")
    gloves.choose("#product", yard.iso)
    gloves.tap("#count")
    page.type("8")
    gloves.choose("#place", yard.place("hall"))
    gloves.tap("#temperature")
    page.type("63")
    gloves.tap("[name=fine]")
    gloves.tap(".receive .strong")
    tags = received(page)
    assert len(tags) == 8
    assert gloves.taps <= MOST_TAPS
    check_fits(page)

    page.scripts(on=False)  # the next eight by a browser that runs none
    page.goto("/receive")
    gloves = Gloves(page)
    page.click("#label")
    page.type(SCAN)
    page.press("Enter")
    page.wait_for("document.querySelector('#product').value !== ''")  # it is remembered
    gloves.tap("#count")
    page.type("8")
    gloves.tap("[name=fine]")
    gloves.tap(".receive .strong")
    assert len(set(received(page)) | set(tags)) == 16
    assert gloves.taps <= 4
    page.scripts(on=True)

    page.click(".receipt-do .strong")
    page.wait_for("location.pathname === '/labels'")
    check_fits(page)
    fields = page.evaluate(
        "[...new FormData(document.querySelector('.labels-print'))].map(([n, v]) => [n, v])"
    )
    answer = page.evaluate(
        "fetch('/labels', {method: 'POST', body: new URLSearchParams("
        f"{fields!r})}}).then(a => a.blob()).then(b => b.arrayBuffer())"
        ".then(b => [...new Uint8Array(b)])"
    )
    sheets = pypdfium2.PdfDocument(bytes(answer))
    codes = [
        code.text
        for sheet in sheets
        for code in zxingcpp.read_barcodes(sheet.render(scale=2, grayscale=True).to_pil())
    ]
    assert len(codes) == 8
    assert all(code.startswith(f"{ADDRESS}/d/") for code in codes)
