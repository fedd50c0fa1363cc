"""What is wrong with a form is told under labels that people know, in both languages."""

import re
from collections.abc import Iterator
from itertools import cycle
from typing import Final
from uuid import uuid4

import pytest

from drumkeep.domain.events import EventKind
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import API, Yard, yard
from tests.http.test_page_access import page_forms

__all__ = ["manager", "serving", "yard"]

TITLE: Final = re.compile(
    r'<p class="fault"[^>]*>\s*<b>(?P<inline>.*?)</b>|<div><dt>(?P<listed>.*?)</dt><dd>(?=.)'
)
A_NAME_OF_THE_API: Final = re.compile(r"[a-z0-9][._][a-z0-9]|\b([kK]pa|[kK]g|[iI]d)\b|^$")
"""A dot, an underscore or a unit, such as ``checks.3.pressure_kpa``."""

NO_BROKER: Final = ("/gateways/north/attic/credential", "/gateways/north/attic/credential/revoke")

NONSENSE: Final = "?x 7,7,7"
TYPED: Final = {
    "/people": ("name", "display_name", "role", "password"),
    "/tokens": ("name", "role", "scopes", "days"),
    "/receive": ("product", "count", "place", "lot", "temperature", "net", "made_on", "solids"),
    "/pulls": ("id", "sets", "pair", "site", "output", "wanted_at"),
    "/claims": ("id", "drums", "kind"),
    "/photos": ("drum", "shows", "note"),
    "/stock/consumables": ("place", "kind", "unit", "name", "minimum", "quantity"),
    "/stock/prices": ("product", "amount", "per"),
    "/labels": ("drums", "size", "start"),
}
"""Fields beside those of the table of forms."""


@pytest.fixture(scope="module")
def ana(serving) -> Iterator[Person]:
    with signed_in(serving, "manager") as person:
        yield person


def sent(yard: Yard) -> Iterator[tuple[str, dict[str, str]]]:
    """Give every form empty, and with nonsense in each of its fields."""
    rig = {"site": yard.site, "code": "rig", "name": "Rig", "kind": "rig"}
    yard.client.post(f"{API}/places", json=rig)
    tag = yard.receive()["tag"]
    for action, fields in page_forms(yard).items():
        if action.startswith(("/sign-out", "/me/language", "/me/password")):
            continue
        names = {*fields, *TYPED.get(action, ())}
        yield action, {}
        yield action, dict.fromkeys(names, NONSENSE)
        for name in names:
            yield action, fields | {name: NONSENSE}
    looks = {"nitrogen": "fine", "lubricant": "see_note", "units": "us", "id": str(uuid4())}
    yield "/rig-checks", looks | {"place": yard.place("rig")}
    yield "/rig-checks", looks | {"place": yard.place("rig"), "pressure": "999999"}
    for kind in EventKind:
        told = {"id": str(uuid4()), "kind": kind.value, "units": "us"}
        figures = ("temperature", "height", "minutes", "mass", "pressure", "watts", "thermostat")
        yield f"/drums/{tag}/events", told
        yield f"/drums/{tag}/events", told | dict.fromkeys(figures, "99999")
        yield f"/drums/{tag}/events", told | dict.fromkeys(figures, NONSENSE)


def test_no_fault_of_any_form_is_told_by_a_name_of_the_api(yard, ana):
    told: dict[str, set[str]] = {}
    csrf = ana.csrf()
    for (action, fields), language in zip(sent(yard), cycle(("en", "es"))):
        headers = {"Accept-Language": language}
        answer = ana.client.post(action, data=fields | {"csrf": csrf}, headers=headers)
        assert answer.status_code < 500 or action in NO_BROKER, (action, fields)
        if answer.status_code >= 400:
            for found in TITLE.finditer(answer.text):
                told.setdefault(found["inline"] or found["listed"], set()).add(action)
    assert len(told) > 20
    assert {title: of for title, of in told.items() if A_NAME_OF_THE_API.search(title)} == {}
