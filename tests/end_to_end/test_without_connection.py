"""A phone without a connection shows what it last knew, marked, and keeps what is tapped."""

import time
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import datetime
from random import Random
from uuid import uuid4

import pytest

from drumkeep.domain import tags
from tests.builders.stock import Body, ago
from tests.fixtures.devtools import Chromium, Page
from tests.fixtures.people import signed_in
from tests.fixtures.ports import free_port
from tests.fixtures.serving import MANAGER, PASSWORD, Serving, listening, serving
from tests.fixtures.yard import API, Yard, yard

__all__ = ["serving", "yard"]

pytestmark = [pytest.mark.browser, pytest.mark.timeout(120)]

TWELVE = 12
OPEN_DRUM = [
    ("agitated", {"minutes": "5"}),
    ("dipped", {"temperature": "80", "height": "4"}),
    ("skin", {"temperature": "80", "height": "10"}),
    ("weighed", {"mass": "500"}),
    ("inspected", {"solids": "none"}),
    ("resealed", {}),
    ("moved", {}),
    ("held", {"reason": "a torn label"}),
]
SHUT_DRUM = [
    ("skin", {"temperature": "80", "height": "10"}),
    ("agitated", {"minutes": "7"}),
    ("opened", {}),
]
COARSE_S = 2.0
"""What the answers to a tap and to its sending may add to the time at which it was."""

LISTED = "[...document.querySelectorAll('.move-list input:checked')].map(e => e.value)"
KEPT_IN_SPANISH = (
    "caches.open('%s').then(k => k.match('%s'))"
    ".then(r => r?.headers.get('Content-Language') === 'es')"
)
KEPT_PAGES = "caches.open('pages-1').then((kept) => kept.keys()).then((keys) => keys.length)"


def moment(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


class Coverage:
    """The service on a port of its own that can be out of reach for a while."""

    def __init__(self, serving: Serving) -> None:
        self._app = serving.app
        self._port = free_port()
        self.url = f"http://127.0.0.1:{self._port}"
        self._there = ExitStack()

    def come(self) -> None:
        self._there.enter_context(listening(self._app, port=self._port))

    def go(self) -> None:
        self._there.close()


@pytest.fixture
def coverage(serving) -> Iterator[Coverage]:
    made = Coverage(serving)
    made.come()
    yield made
    made.go()


@pytest.fixture
def phone(coverage, chromium, tmp_path) -> Iterator[Page]:
    """Give a phone whose owner has signed in, with the worker at its post."""
    browser = Chromium(program=chromium, profile=tmp_path)
    with browser.page(coverage.url, width=390, height=844) as page:
        page.goto("/sign-in")
        page.wait_for("navigator.serviceWorker.controller !== null")
        sign_in(page, MANAGER, PASSWORD)
        yield page
    browser.close()


def sign_in(page: Page, name: str, password: str) -> None:
    """Fill in the form of the sign-in page."""
    page.click("#name")
    page.type(name)
    page.click("#password")
    page.type(password)
    page.press("Enter")
    page.wait_for("location.pathname === '/floor' && document.readyState === 'complete'")


def tap(page: Page, tag: str, kind: str, **typed: str) -> None:
    """Open a form of the drum page, fill it in and send it."""
    page.goto(f"/drums/{tag}")
    page.click(f"#do-{kind} > summary")
    for field, text in typed.items():
        if (
            page.evaluate(f"document.querySelector('#do-{kind} [name={field}]').localName")
            == "select"
        ):
            page.evaluate(f"document.querySelector('#do-{kind} [name={field}]').value = '{text}'")
            continue
        page.click(f"#do-{kind} [name={field}]")
        page.type(text)
    page.evaluate(f"document.querySelector('#do-{kind} [name=sure]')?.click()")
    page.evaluate("window.before = true")
    page.click(f"#do-{kind} button.strong")
    page.wait_for("!window.before && document.readyState === 'complete'")


def recorded(yard: Yard, tag: str, kind: str) -> list[Body]:
    """Return a drum's events of a kind, in the order in which they happened."""
    events = [event for event in yard.history(tag)["events"] if event["kind"] == kind]
    return sorted(events, key=lambda event: event["at"])


def since(yard: Yard, tag: str, *, skip: int) -> list[Body]:
    """Return a drum's events after the first ones, in the order in which they happened."""
    return sorted(yard.history(tag)["events"], key=lambda event: event["at"])[skip:]


def test_nothing_of_one_person_stays_when_another_signs_in_by_code_or_by_the_company(phone):
    for address in ("/sign-in/company/back", "/sign-in/once/nobodys-code"):
        phone.goto("/floor")
        phone.wait_for("document.readyState === 'complete'")
        phone.wait_for(KEPT_PAGES)
        if address.endswith("back"):
            phone.goto(address)
        else:
            phone.evaluate(
                f"fetch('{address}', {{method: 'POST'}}).then((answer) => answer.status)"
            )
        assert phone.evaluate(KEPT_PAGES) == 0


@pytest.mark.slow
def test_an_hour_without_connection_loses_nothing_and_doubles_nothing(yard, coverage, phone):
    tag, shut, other = (
        yard.receive(place=yard.place("room"), liquid_c=27.0, at=ago(3.0))["tag"] for _ in range(3)
    )
    yard.record(tag, "opened")
    for address in (f"/d/{tag}", *(f"/drums/{one}" for one in (tag, shut, other))):
        phone.goto(address)
    assert phone.text().strip()

    coverage.go()
    phone.goto(f"/d/{tag}")
    assert "No connection" in phone.text()
    assert phone.evaluate("document.querySelector('h1').textContent") == "WAS READY"
    # how old its readings are would not grow on a copy; up to when they go stays true
    told = phone.evaluate("document.querySelector('.verdict-from span').textContent")
    assert "readings up to " in told
    assert " old" not in told
    assert "Take it" not in phone.text()
    tapped = []
    deeds = [(tag, kind, typed) for kind, typed in OPEN_DRUM]
    deeds += [(shut, kind, typed) for kind, typed in SHUT_DRUM]
    assert len(deeds) == TWELVE - 1
    for drum, kind, typed in deeds:
        before = time.time()  # noqa: TID251 - the browser's clock is the real one
        tap(phone, drum, kind, **typed)
        tapped.append((before - COARSE_S, time.time() + COARSE_S))  # noqa: TID251
    tap(phone, other, "emptied")
    # Meanwhile somebody else, elsewhere, is done with the other drum.
    yard.record(other, "emptied")
    phone.wait_for(f"document.querySelectorAll('.deed').length === {TWELVE}")
    assert phone.text().count("Waits for a connection") == TWELVE

    coverage.come()
    phone.click("#send")
    phone.wait_for("document.querySelectorAll('.deed').length === 1")
    phone.wait_for("document.querySelectorAll('.deed button').length === 2")
    known = {tag: 2, shut: 1}  # received, and the one opened
    came = [event for drum in known for event in since(yard, drum, skip=known[drum])]
    assert [event["kind"] for event in came] == [kind for _, kind, _ in deeds]
    assert all(
        first < moment(event["at"]) < last
        for event, (first, last) in zip(came, tapped, strict=True)
    )
    assert len(recorded(yard, other, "emptied")) == 1
    assert "Send again as mara" in phone.text()
    phone.click(".deed button:last-of-type")
    phone.wait_for("document.querySelectorAll('.deed').length === 0")
    assert "Nothing waits." in phone.text()


@pytest.mark.slow
def test_a_crew_unloads_and_looks_at_its_rig_where_there_is_no_coverage(yard, coverage, phone):
    first, second = (yard.receive(at=ago(3.0))["tag"] for _ in range(2))
    strange = tags.make(Random(7))  # noqa: S311 - a tag is no secret
    rig = {"site": yard.site, "code": "rig-7", "name": "Rig seven", "kind": "rig"}
    assert yard.client.post(f"{API}/places", json=rig).status_code == 201
    # Another person takes the phone over. These pages nobody has opened, and the phone has them,
    # in the language of whoever reads.
    with signed_in(yard.serving, "crew", display_name="Cy") as cy:
        told = {"csrf": cy.csrf(), "next": "/floor", "language": "es"}
        assert cy.client.post("/me/language", data=told).status_code == 303
    phone.click(".top-me summary")
    phone.click("form[action='/sign-out'] button")
    phone.wait_for("location.pathname === '/sign-in'")
    sign_in(phone, cy.name, cy.password)
    for cache, path in (("pages-1", "/rig-checks"), ("files-1", "/waiting")):
        phone.wait_for(KEPT_IN_SPANISH % (cache, path))
    phone.goto("/rig-checks")

    coverage.go()
    phone.goto("/move")
    for scan in (f"https://drums.example/d/{first}", second.lower().replace("-", ""), strange):
        scanned(phone, scan)
    scanned(phone, f"https://drums.example/places/{yard.place('van')}")
    assert phone.evaluate(LISTED) == [first, second, strange]
    begun = time.time()  # noqa: TID251 - the browser's clock is the real one
    leave(phone, "[name=do][value=move]")
    told = phone.text()
    assert "3 tambores" in told
    assert "a Van," in told
    phone.goto("/rig-checks")
    phone.click("[name=lubricant][value=fine]")
    phone.click("[name=pressure]")
    phone.type("1800")
    phone.click("[name=nitrogen][value=fine]")
    leave(phone, ".rig form .strong")
    phone.wait_for("document.querySelectorAll('.deed').length === 2")
    assert "Rig seven" in phone.text()
    ended = time.time()  # noqa: TID251

    # The one that no drum bears is named, and the others go without it, with the time of the tap.
    coverage.come()
    phone.click("#send")
    phone.wait_for("document.querySelectorAll('.deed button').length === 3")
    assert strange in phone.evaluate("document.querySelector('.deed .fault').textContent")
    assert yard.get(first)["place"] == yard.place("hall")
    phone.click(".deed button")
    phone.wait_for("document.querySelectorAll('.deed').length === 0")
    for tag in (first, second):
        (moved,) = recorded(yard, tag, "moved")
        assert yard.get(tag)["place"] == yard.place("van")
        assert begun - COARSE_S < moment(moved["at"]) < ended + COARSE_S
    looks = yard.client.get(f"{API}/rig-checks", params={"place": yard.place("rig-7")}).json()
    assert {look["part"] for look in looks["items"]} == {"lubricant", "nitrogen"}


def scanned(phone: Page, text: str) -> None:
    """Scan into the form of a move, which is on the page that answers again."""
    phone.wait_for("document.activeElement.id === 'scan' && document.readyState === 'complete'")
    phone.evaluate("window.before = true")
    phone.type(text)
    phone.press("Enter")
    phone.wait_for("!window.before && document.readyState === 'complete'")


def leave(phone: Page, button: str) -> None:
    """Press a button and wait for the page that says that it waits."""
    phone.click(button)
    phone.wait_for("location.pathname === '/waiting' && document.querySelector('.deed') !== null")


def test_what_is_tapped_with_a_connection_is_recorded_at_once_and_once(yard, phone):
    tag = yard.receive(place=yard.place("room"), liquid_c=27.0, at=ago(3.0))["tag"]
    tap(phone, tag, "agitated", minutes="7")
    assert phone.evaluate("location.pathname") == f"/drums/{tag}"
    assert len(recorded(yard, tag, "agitated")) == 1


def test_without_connection_nothing_old_says_that_two_drums_may_be_hooked_up(yard, coverage, phone):
    warm = {"place": yard.place("room"), "liquid_c": 27.0}
    iso, resin = (yard.receive(product=p, **warm)["tag"] for p in (yard.iso, yard.resin))
    for product in (yard.iso, yard.resin):
        told = yard.client.patch(f"/api/v1/products/{product}", json={"system": "closed 2"})
        assert told.status_code == 200
    body = {"id": str(uuid4()), "first": iso, "second": resin}
    kept = yard.client.post("/api/v1/side-checks", json=body).json()
    phone.goto(f"/hookup/{kept['id']}")
    assert "A AND B FIT" in phone.text().replace("\n", " ")
    phone.goto(f"/hookup?first={iso}")

    coverage.go()
    phone.click("#second")
    phone.type(resin)
    phone.press("Enter")
    phone.wait_for("document.querySelector('h1').textContent.includes('NOBODY')")
    phone.goto(f"/hookup/{kept['id']}")
    assert "NOBODY CHECKED" in phone.text().replace("\n", " ")
    assert "FIT" not in phone.text()
    phone.goto("/pulls")
    assert "This page needs the service." in phone.text()
