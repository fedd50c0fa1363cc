"""What people do every day, on a phone of 390 px in a real Chromium, with every act counted.

An act is a tap, a swipe of a screen's height, or a scan; keys are characters typed. Beside each
limit stands what a marker pen would cost. The table is in tests/README.md. Over 400 lines because
all of it shares one service and one browser.
"""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager
from pathlib import Path
from urllib.parse import urlsplit

import pypdfium2
import pytest
import zxingcpp

from tests.builders import catalogue
from tests.builders.photos import photo
from tests.builders.stock import ago
from tests.fixtures.devtools import Chromium, Page
from tests.fixtures.elsewhere import look_at_alarms
from tests.fixtures.hands import PHONE, Hands, check_fits
from tests.fixtures.plots import own_place
from tests.fixtures.pulling import Pulling, pulling
from tests.fixtures.serving import MANAGER, PASSWORD, manager, serving
from tests.fixtures.yard import Yard, yard

__all__ = ["manager", "pulling", "serving", "yard"]

pytestmark = pytest.mark.browser

ADDRESS = "https://drums.example"
GS1 = "]C101095060001343523201005510112601131727011310B-78"
"""A supplier's label, as a hand-held scanner types it (GS1 General Specifications, GS1-128)."""

RECORD = ".verdict-from a[href$='#record-h']"
LISTED = "document.querySelectorAll('.move-list input:checked').length"
ON_LIST = "document.activeElement.id === 'scan' && document.readyState === 'complete'"
COVERED = """[...document.querySelectorAll('form.move :is(select, input:not([type=hidden]))')]
  .filter(e => e.checkVisibility()).filter(e => {
    e.scrollIntoView({block: "end"});
    const box = e.getBoundingClientRect();
    const hit = document.elementFromPoint(box.left + box.width / 2, box.bottom - 2);
    return !(hit === e || (hit && hit.closest("label") === e.closest("label")));
  }).map(e => e.id || e.name)"""
"""Fields of a form of moves that something else lies on, though they were brought to sight."""
Cookie = dict[str, str]
Tab = Callable[[Cookie | None], AbstractContextManager[Page]]


@pytest.fixture(scope="module")
def browser(chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chromium]:
    """Give one Chromium to all tests here; each has tabs of its own."""
    running = Chromium(program=chromium, profile=tmp_path_factory.mktemp("profile"))
    yield running
    running.close()


def signed_in(serving, name: str, password: str) -> Cookie:
    """Sign in and return the cookie that a browser keeps."""
    with serving.client() as client:
        answer = client.post("/sign-in", data={"name": name, "password": password})
    key, _, value = answer.headers["Set-Cookie"].partition(";")[0].partition("=")
    return {"name": key, "value": value, "url": serving.url}


@pytest.fixture(scope="module")
def boss(serving) -> Cookie:
    return signed_in(serving, MANAGER, PASSWORD)


@pytest.fixture(scope="module")
def crew(serving, manager) -> Cookie:
    body = catalogue.account(role="crew", display_name="Cy")
    assert manager.post("/api/v1/accounts", json=body).status_code == 201
    return signed_in(serving, body["name"], body["password"])


@pytest.fixture
def phone(browser, serving, crew) -> Iterator[Page]:
    """Give a phone of the crew."""
    with browser.page(serving.url, width=PHONE[0], height=PHONE[1]) as tab:
        tab.call("Network.setCookie", **crew)
        yield tab


@pytest.fixture
def hands(phone: Page) -> Hands:
    return Hands(phone)


@pytest.fixture
def managers(browser, serving, boss) -> Iterator[Hands]:
    """Give the manager's hands, at a phone of their own."""
    with browser.page(serving.url, width=PHONE[0], height=PHONE[1]) as tab:
        tab.call("Network.setCookie", **boss)
        yield Hands(tab)


def warm(yard: Yard, **changes: object) -> str:
    """Receive a drum that is ready, and return its tag."""
    tag: str = yard.receive(place=yard.place("room"), liquid_c=27.0, **changes)["tag"]
    return tag


def spent(hands: Hands, *, acts: int, keys: int = 0) -> None:
    """Check what a task cost against its limit, and show it (pytest -rP)."""
    print(  # noqa: T201 - the table in tests/README.md comes from here
        f"{hands.acts} of {acts} acts ({hands.taps} taps, {hands.swipes} swipes,"
        f" {hands.scans} scans), {hands.keys} of {keys} keys"
    )
    assert hands.acts <= acts, hands.steps
    assert hands.keys <= keys, hands.steps


# ---- the ten ----------------------------------------------------------------------------------


def test_eight_drums_are_received_from_one_scan_and_their_labels_can_be_read(
    hands: Hands, serving, yard: Yard
):
    page = hands.page
    serving.app.state.public_url = ADDRESS
    page.goto("/receive")
    check_fits(page)
    page.goto("/receive")
    hands.scan(GS1, into="label")
    page.wait_for("document.querySelector('#lot').value === 'B-78'")
    hands.choose("#product", yard.iso)
    hands.tap("#count")
    hands.type("8")
    hands.choose("#place", yard.place("hall"))
    hands.tap("#temperature")
    hands.type("63")
    hands.tap("[name=fine]")
    hands.tap(".receive .strong")
    first = received(page)
    assert len(first) == 8
    # The promise: twelve taps and one scan. A pen writes tag, lot and date on eight lids, some 150
    # strokes.
    spent(hands, acts=13, keys=3)
    check_fits(page)

    page.scripts(on=False)  # the next eight by a browser that runs none
    page.goto("/receive")
    again = Hands(page)
    page.click("#label")
    page.type(GS1)
    page.press("Enter")
    page.wait_for("document.querySelector('#product').value !== ''")  # it is remembered
    again.tap("#count")
    again.type("8")
    again.tap("[name=fine]")
    again.tap(".receive .strong")
    assert len(set(received(page)) | set(first)) == 16
    assert again.taps <= 4
    page.scripts(on=True)

    again.tap(".receipt-do .strong")
    page.wait_for("location.pathname === '/labels'")
    check_fits(page)
    codes = printed_codes(page)
    assert len(codes) == 8
    assert all(code.startswith(f"{ADDRESS}/d/") for code in codes)


def received(page: Page) -> list[str]:
    page.wait_for("location.pathname.startsWith('/receipts/')")
    assert "8 drums received" in page.text()
    found: list[str] = page.evaluate(
        "[...document.querySelectorAll('.receipt-drums a')].map(a => a.textContent)"
    )
    return found


def printed_codes(page: Page) -> list[str]:
    """Print the labels of a page and return what an independent reader sees in their codes."""
    fields = page.evaluate(
        "[...new FormData(document.querySelector('.labels-print'))].map(([n, v]) => [n, v])"
    )
    answer = page.evaluate(
        "fetch('/labels', {method: 'POST', body: new URLSearchParams("
        f"{fields!r})}}).then(a => a.blob()).then(b => b.arrayBuffer())"
        ".then(b => [...new Uint8Array(b)])"
    )
    return [
        code.text
        for sheet in pypdfium2.PdfDocument(bytes(answer))
        for code in zxingcpp.read_barcodes(sheet.render(scale=2, grayscale=True).to_pil())
    ]


def test_four_drums_are_moved_and_taken_back(hands: Hands, yard: Yard):
    page = hands.page
    tags = [yard.receive()["tag"] for _ in range(4)]
    page.goto("/floor")
    hands.tap(".deeds a[href='/move']")
    page.wait_for(f"location.pathname === '/move' && {ON_LIST}")
    check_fits(page)
    for count, tag in enumerate(tags, start=1):
        hands.scan(f"{ADDRESS}/d/{tag}", into="scan")
        page.wait_for(f"{LISTED} === {count}")
    hands.scan(f"{ADDRESS}/places/{yard.place('van')}", into="scan")
    page.wait_for(f"document.querySelector('#to').value !== '' && {ON_LIST}")
    button = "document.querySelector('.move-do .strong').getBoundingClientRect()"
    assert page.evaluate(f"{button}.bottom") <= PHONE[1]  # in reach without scrolling
    assert page.evaluate(COVERED) == []
    hands.tap(".move-do .strong")
    page.wait_for("location.pathname.startsWith('/moves/')")
    # The promise. A pen strikes out a place and writes another on each of four lids.
    spent(hands, acts=7)
    assert "4 drums moved to" in page.text()
    assert {yard.get(tag)["place"] for tag in tags} == {yard.place("van")}
    check_fits(page)

    hands.tap(".move-next form button")
    page.wait_for("document.querySelector('h1').textContent === 'Taken back'")
    assert {yard.get(tag)["place"] for tag in tags} == {yard.place("hall")}

    page.scripts(on=False)  # and one by a browser that runs none
    page.goto(f"/move?to={yard.place('van')}")
    page.wait_for("document.querySelector('#to')?.value")
    hands.scan(tags[0], into="scan")
    page.wait_for(f"{LISTED} === 1 && {ON_LIST}")
    hands.tap(".move-do .strong")
    page.wait_for("location.pathname.startsWith('/moves/')")
    assert yard.get(tags[0])["place"] == yard.place("van")


def test_one_scan_says_whether_a_drum_may_be_used(hands: Hands, yard: Yard):
    tag = warm(yard)
    hands.read_code(f"/d/{tag}")
    top, bottom = hands.page.evaluate(
        "(box => [box.top, box.bottom])(document.querySelector('h1').getBoundingClientRect())"
    )
    assert hands.page.evaluate("document.querySelector('h1').innerText") == "READY"
    assert 0 <= top < bottom <= PHONE[1]
    # The promise. A pen's word on the lid is read at a glance.
    spent(hands, acts=1)


def test_drum_is_weighed_by_gross(hands: Hands, yard: Yard):
    tag = warm(yard)
    hands.read_code(f"/d/{tag}")
    hands.tap(RECORD)
    hands.tap("#do-weighed summary")
    hands.tap("#do-weighed-w")
    hands.type("480")
    hands.tap("#do-weighed .strong")
    hands.page.wait_for("document.body.innerText.includes('Weighed: ')")
    # A pen writes weight and date (eight strokes), and somebody takes the tare off in the head.
    spent(hands, acts=7, keys=3)
    (weighed,) = [e for e in yard.history(tag)["events"] if e["kind"] == "weighed"]
    assert weighed["data"]["gross_kg"] == pytest.approx(
        480 * 0.45359237
    )  # the pound, by definition


def test_drum_is_dipped_and_opened(hands: Hands, yard: Yard):
    tag = warm(yard)
    hands.read_code(f"/d/{tag}")
    hands.tap(RECORD)
    hands.tap("#do-opened summary")
    assert "small bung" in hands.page.text()  # the cautions stand beside the button
    hands.tap("#do-opened .strong")
    hands.page.wait_for("document.body.innerText.includes('Opened.')")
    # A pen writes OPEN and the date, some ten strokes, and asks nothing.
    spent(hands, acts=5)

    dip = Hands(hands.page)
    dip.read_code(f"/d/{tag}")
    dip.tap(RECORD)
    dip.tap("#do-dipped summary")
    dip.tap("#do-dipped-t")
    dip.type("81")
    dip.tap("#do-dipped-h")
    dip.type("4")
    dip.tap("#do-dipped .strong")
    dip.page.wait_for("document.body.innerText.includes('Dipped: 81')")
    # A pen writes temperature, height and time: as many strokes, which nobody reads again.
    spent(dip, acts=8, keys=3)


def test_solids_are_recorded_with_a_photo_and_the_drum_is_put_up(
    hands: Hands, yard: Yard, tmp_path: Path
):
    tag = warm(yard)
    yard.record(tag, "opened")
    file = tmp_path / "solids.jpg"
    file.write_bytes(photo())
    hands.read_code(f"/d/{tag}")
    hands.tap(RECORD)
    hands.tap("#do-inspected summary")
    hands.tap("#do-inspected [name=reached_bottom]")
    hands.choose("#do-inspected-solids", "seen")
    hands.tap("#do-inspected .strong")
    hands.tap(".more a[href='#photos']")
    hands.take_photo("#photo", file)
    hands.tap(".photo-form button")
    hands.page.wait_for("!!document.querySelector('.photo img')")
    # A pen writes SOLIDS, HOLD; a photo is five taps and lies with no drum; a call besides.
    spent(hands, acts=15)
    assert "Solids." in hands.page.text()
    assert "solids_suspected" in yard.get(tag)["conditions"]


def test_alarm_says_what_to_do_and_is_answered(managers: Hands, yard: Yard):
    page = managers.page
    tag = yard.receive(place=yard.place("van"), liquid_c=3.0, at=ago(5.0))["tag"]
    look_at_alarms(yard)
    items = yard.client.get("/api/v1/alarms", params={"state": "unacknowledged"}).json()["items"]
    (alarm,) = [one for one in items if tag in one["drums"] and one["kind"] == "cold_load"]
    page.goto("/floor")
    assert "Bring it in" in page.text()
    managers.tap(f"form[action='/alarms/{alarm['id']}/acknowledge'] button")
    page.wait_for(f"!document.querySelector('form[action=\"/alarms/{alarm['id']}/acknowledge\"]')")
    # Nobody's pen rings at night. What other tests have standing above it is swiped past.
    spent(managers, acts=1 + len(items))


def test_pull_list_is_made_and_a_drum_ticked_off_by_scanning(hands: Hands, pulling: Pulling):
    page = hands.page
    iso, _ = pulling.warm("iso"), pulling.warm("resin")
    page.goto("/floor")
    hands.tap("a[href='/pulls']")
    hands.choose("#pair", f"{pulling.yard.iso}|{pulling.yard.resin}")
    hands.tap(".pull-new .strong")
    page.wait_for(f"document.querySelector('.pull-drums .tag')?.textContent === '{iso}'")
    hands.scan(iso, into="tag")
    page.wait_for("document.querySelectorAll('.is-taken').length === 1")
    # A pen copies tags from lids to a board after a walk along them: thirty strokes a set.
    spent(hands, acts=8)
    check_fits(page)


def test_two_drums_are_checked_before_they_are_hooked_up(hands: Hands, pulling: Pulling):
    iso, resin = pulling.warm("iso"), pulling.warm("resin")
    hands.read_code(f"/d/{iso}")
    hands.tap(".verdict-from a[href$='" + iso + "']")
    hands.tap("a[href^='/hookup?first=']")
    hands.scan(resin, into="second")
    hands.page.wait_for("location.pathname.startsWith('/hookup/')")
    # Two lids are read and compared by eye; a wrong pair costs both drums.
    spent(hands, acts=5)
    assert "A AND B FIT" in hands.page.text().replace("\n", " ")


def test_crews_phone_is_signed_in_by_a_code(managers: Hands, browser, serving, manager):
    body = catalogue.account(role="crew", display_name="Dana")
    assert manager.post("/api/v1/accounts", json=body).status_code == 201
    managers.page.goto("/floor")
    managers.tap(".top-me summary")
    managers.tap(".top-sheet a[href='/people']")
    managers.tap(f"form[action='/people/{body['name']}/phone'] button")
    shown = managers.page.wait_for("document.querySelector('.code-address')?.textContent")
    with browser.page(serving.url, width=PHONE[0], height=PHONE[1]) as tab:
        hers = Hands(tab)
        hers.read_code(urlsplit(shown).path)
        hers.tap("form .strong")
        tab.wait_for("location.pathname === '/floor'")
        assert "Dana" in tab.text()
        assert tab.faults == []
        hers.taps += managers.taps
        hers.swipes += managers.swipes
        # A password typed in gloves is ten keys and up, and a helpless call when it is wrong. What
        # stands above her on the list is swiped past.
        spent(hers, acts=7)


# ---- and four more ----------------------------------------------------------------------------


def test_place_is_counted_and_each_difference_takes_one_tap(hands: Hands, yard: Yard):
    page = hands.page
    here = own_place(yard, site=yard.site, name="Lean-to")
    missed, right = (yard.receive(place=here)["tag"] for _ in range(2))
    moved = yard.receive()["tag"]
    hands.read_code(f"/places/{here}")
    hands.tap("a[href^='/stock/counts']")
    hands.tap("main form button")
    for tag, text in ((right, f"{ADDRESS}/d/{right}"), (moved, moved.replace("-", "").lower())):
        hands.scan(text, into="scan")
        page.wait_for(f"location.search === '?last={tag}' && document.readyState === 'complete'")
    assert "2 seen" in page.text()
    check_fits(page)
    hands.tap("form[action$='/finish'] button")
    page.wait_for(
        "!document.querySelector('#scan') && document.querySelectorAll('.differ form').length === 4"
    )
    check_fits(page)
    for tag in (moved, missed):
        hands.tap(f"#differ-{tag} button.strong")
        page.wait_for(
            f"document.querySelector('#differ-{tag}') && document.readyState === 'complete'"
            f" && !document.querySelector('#differ-{tag} button')"
        )
    # A tally on a clipboard is a stroke a drum, and an evening to find out which one is missing.
    spent(hands, acts=10)
    assert yard.get(moved)["place"] == here
    assert yard.get(missed)["readiness"]["state"] == "on_hold"
    assert yard.get(right)["place"] == here


def test_rig_is_looked_over_for_the_week(hands: Hands, yard: Yard):
    page = hands.page
    rig = own_place(yard, site=yard.site, kind="rig", name="Truck 2")
    page.goto("/floor")
    hands.tap("nav a[href='/stock']")
    hands.tap("a[href='/rig-checks']")
    form = f".rig:has([value='{rig}'])"
    shown = f'document.querySelector("{form} details")'
    page.wait_for(f"document.readyState === 'complete' && !!{shown}")
    if not page.evaluate(f"{shown}.open"):
        hands.tap(f"{form} summary")  # it is open by itself where there is one rig
    for part in ("lubricant", "packing_nut", "desiccant", "nitrogen"):
        hands.tap(f"{form} label:has([name={part}][value=fine])")
    hands.tap(f"{form} [name=pressure]")
    hands.type("1800")
    hands.tap(f"{form} .strong")
    page.wait_for(
        "location.hash.startsWith('#rig-') && document.body.innerText.includes('Looks so far')"
    )
    # Four ticks, a gauge and a name on a sheet in the cab: some twenty strokes.
    spent(hands, acts=12, keys=4)
    check_fits(page)


def test_ratio_that_pulses_puts_both_drums_up(hands: Hands, yard: Yard):
    rig = own_place(yard, site=yard.site, kind="rig", name="Truck 3")
    iso, resin = (warm(yard, product=product) for product in (yard.iso, yard.resin))
    for tag in (iso, resin):
        yard.record(tag, "moved", to=rig)
        yard.record(tag, "opened")
    hands.read_code(f"/d/{iso}")
    hands.tap(RECORD)
    hands.tap(".ratio .strong")
    hands.page.wait_for("document.body.innerText.includes('atio')")
    # Nobody writes while the gun pulses: one tap is what there is time for.
    spent(hands, acts=3)


# ---- two at once ------------------------------------------------------------------------------


@pytest.fixture
def two(browser, serving, boss, crew) -> Iterator[tuple[Page, Page]]:
    """Give two phones that share nothing, of two people."""
    size = {"width": PHONE[0], "height": PHONE[1]}
    with browser.page(serving.url, **size) as one, browser.page(serving.url, **size) as other:
        one.call("Network.setCookie", **boss)
        other.call("Network.setCookie", **crew)
        yield one, other


def press_together(two: tuple[Page, Page], selector: str) -> list[Page]:
    """Press a button on both phones at the same moment; return the phones, who was told no last."""
    for page in two:
        page.evaluate("window.before = true")
    with ThreadPoolExecutor(2) as both:
        list(both.map(lambda page: page.click(selector), two))
    for page in two:
        page.wait_for("!window.before && document.readyState === 'complete'")
    return sorted(two, key=lambda page: page.evaluate("location.pathname.endsWith('/events')"))


def test_of_two_who_move_one_drum_at_once_one_does_and_the_other_is_told(
    two: tuple[Page, Page], yard: Yard
):
    tag = yard.receive()["tag"]
    for page, to in zip(two, ("van", "room"), strict=True):
        page.goto(f"/drums/{tag}")
        page.click("#do-moved summary")
        page.evaluate(f"document.querySelector('#do-moved-to').value = '{yard.place(to)}'")
    won, lost = press_together(two, "#do-moved .strong")
    (moved,) = [e for e in yard.history(tag)["events"] if e["kind"] == "moved"]
    place = yard.get(tag)["place"]
    assert moved["data"]["to"] == place
    assert f"Moved to {place.split('/')[1].title()}." in won.text()
    assert "Somebody moved it meanwhile." in lost.text()
    assert f"It went to {place.split('/')[1].title()} at" in lost.text()


def test_of_two_who_open_one_drum_at_once_one_does_and_the_other_is_told(
    two: tuple[Page, Page], yard: Yard
):
    tag = warm(yard)
    for page in two:
        page.goto(f"/drums/{tag}")
        page.click("#do-opened summary")
    won, lost = press_together(two, "#do-opened .strong")
    opened = [e for e in yard.history(tag)["events"] if e["kind"] == "opened"]
    assert len(opened) == 1
    assert "Opened." in won.text()
    assert "That is done already." in lost.text()
    assert "It was opened at" in lost.text()
