"""More sensors than a page shows: it comes by pages, and can be searched by words."""

import re
from collections.abc import Iterator

import pytest

from drumkeep.operations.sensor_list import AT_ONCE
from tests.builders import catalogue
from tests.builders.stock import ago
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import API, Yard, yard

__all__ = ["manager", "serving", "yard"]


@pytest.fixture
def boss(serving) -> Iterator[Person]:
    with signed_in(serving, "manager") as person:
        yield person


def hang(yard: Yard, mount: dict[str, str], *, days: float) -> str:
    """Register a sensor that hangs for so many days and never spoke; return its name."""
    since = ago(24.0 * days)
    sent = catalogue.sensor(mount={"since": since, **mount}, interval_s=300)
    answer = yard.client.post(f"{API}/sensors", json=sent)
    assert answer.status_code == 201, answer.text
    name: str = answer.json()["name"]
    return name


def test_a_page_shows_those_that_need_somebody_first_and_words_find_the_rest(boss, yard):
    for code in ("depot", "loft"):
        place = catalogue.place(yard.site, code=code, name=code.capitalize())
        assert yard.client.post(f"{API}/places", json=place).status_code == 201
    # Hung just now: not silent yet, and by its place before the loft.
    depot = {"what": "air", "place": yard.place("depot")}
    fresh = {hang(yard, depot, days=0.004) for _ in range(AT_ONCE)}
    mute = {hang(yard, {"what": "air", "place": yard.place("loft")}, days=10.0) for _ in range(2)}
    tag = yard.receive(place=yard.place("loft"), liquid_c=14.0)["tag"]
    strap = hang(yard, {"what": "skin", "drum": tag}, days=0.004)
    yard.advance()

    def listed(address: str) -> list[str]:
        return re.findall(r'id="more-([^"]+)"', boss.client.get(address).text)

    first = Page(boss.client.get("/sensors").text)
    found: list[str] = []
    page, names = 0, listed("/sensors?page=1")
    while names and names != found[-len(names) :]:
        found += names
        page += 1
        names = listed(f"/sensors?page={page + 1}")

    assert mute <= set(listed("/sensors"))
    assert len(listed("/sensors")) == AT_ONCE
    assert "/sensors?text=&page=2" in [link["href"] for link in first.all("a")]
    assert mute | fresh | {strap} <= set(found)
    assert len(found) == len(set(found))
    assert listed("/sensors?page=99999") == listed(f"/sensors?page={page}")
    assert listed(f"/sensors?text=LOFT+{tag}") == [strap]
    assert listed("/sensors?text=nowhere-at-all") == []
