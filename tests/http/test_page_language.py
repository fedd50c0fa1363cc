"""Pages speak the language that a person chose, else the one that the browser asks for."""

import re
from collections.abc import Iterator
from typing import Any

import pytest

from tests.builders.stock import ago
from tests.fixtures.elsewhere import look_at_alarms, make_elsewhere
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving

__all__ = ["manager", "serving"]

SPANISH = {"Accept-Language": "es-MX,es;q=0.9,en;q=0.5"}
ENGLISH_WORDS = re.compile(
    r"\b(the|of|and|is|are|was|not|with|from|until|drums?|lot|by|for|to|at|ready|when|this|what)\b",
    re.IGNORECASE,
)
"""Words that stand in nearly every English sentence, and in no Spanish one."""

ADDRESS = re.compile(r"\S*[:/=@.]\w\S*")


@pytest.fixture(scope="module")
def mara(serving) -> Iterator[Person]:
    with signed_in(serving, "manager", display_name="Mara") as person:
        yield person


def lang(
    person: Person,
    path: str = "/alarms",
    status: int = 200,
    *,
    headers: dict[str, str] | None = None,
) -> str:
    answer = person.client.get(path, headers=headers)
    assert answer.status_code == status
    return answer.text.split('<html lang="', 1)[1][:2]


def choose(person: Person, language: str) -> Any:
    return person.send(person.fill("/me", "/me/language", language=language, next="/floor"))


def test_a_browser_is_answered_in_its_own_language_before_and_after_signing_in(mara, serving):
    with serving.client() as nobody:
        asked = Page(nobody.get("/sign-in", headers=SPANISH).text)

    assert "Contraseña" in asked.words
    choose(mara, "")
    assert lang(mara) == "en"
    assert lang(mara, headers=SPANISH) == "es"


def test_what_a_person_chose_goes_before_what_the_browser_asks_for(mara):
    answer = choose(mara, "es")
    assert (answer.status_code, answer.headers["location"]) == (303, "/floor")
    assert lang(mara) == "es"
    assert lang(mara, "/pulls/999999", 404) == "es"

    choose(mara, "en")
    assert lang(mara, headers=SPANISH) == "en"


def test_a_language_that_the_pages_do_not_speak_is_refused(mara):
    choose(mara, "en")
    answer = choose(mara, "tlh")

    assert answer.status_code == 422
    assert "en, es" in Page(answer.text).words
    assert lang(mara) == "en"


def test_programs_read_english_whatever_they_ask_for(mara):
    answer = mara.client.get("/api/v1/products/not-here", headers=SPANISH)

    assert answer.status_code == 404
    assert answer.json()["title"].startswith("There is no")


@pytest.fixture(scope="module")
def cold(serving, manager) -> str:
    """Return a drum that much is said of, on a floor whose names are in no language."""
    there = make_elsewhere(
        serving,
        manager,
        site={"name": "Xq 1"},
        place={"name": "Xq 2"},
        product={"name": "Xq 3"},
        lot="X4",
        air_c={"van": -20.0},
    )
    drum = there.receive(lot="X4", place=there.place("van"), liquid_c=4.0, at=ago(6.0), note="")
    tag: str = drum["tag"]
    there.record(tag, "inspected", reached_bottom=True, solids="seen")
    there.record(tag, "held", reason="Xq 5")
    there.receive(lot="X4", product=there.resin)
    look_at_alarms(there)
    return tag


@pytest.mark.parametrize(
    "path",
    [
        *("/floor?view=shelves", "/floor/table", "/alarms"),
        *("/drums/{tag}", "/drums/{tag}/why", "/d/{tag}"),
        *("/stock", "/stock/losses", "/stock/prices", "/stock/counts", "/stock/consumables"),
        *("/receive", "/move", "/pulls", "/hookup", "/labels", "/rig-checks", "/trace?tag={tag}"),
        *("/claims", "/methods", "/products", "/sensors", "/sensors/import", "/gateways"),
        *("/mappings", "/sparkplug", "/notices", "/me", "/people", "/tokens"),
        *("/export", "/waiting", "/no-connection", "/refused"),
    ],
)
def test_a_page_in_spanish_has_no_english_sentence_left(mara, cold, path):
    choose(mara, "es")
    words = Page(mara.client.get(path.format(tag=cold), headers=SPANISH).text).words

    assert ENGLISH_WORDS.findall(ADDRESS.sub("", words)) == [], words


def test_the_language_chosen_before_signing_in_stays_with_the_browser(serving):
    with serving.client() as client:
        shown = client.get("/sign-in?language=es&next=/stock")
        assert shown.headers["Content-Language"] == "es"
        assert 'href="/sign-in?language=en&amp;next=/stock"' in shown.text
        for path in ("/sign-in", "/no-connection"):
            assert client.get(path).headers["Content-Language"] == "es"
        lost = client.get("/nothing-here", headers={"Accept-Language": "en"})
        assert lost.status_code == 404
        assert '<html lang="es"' in lost.text


def test_a_page_that_is_not_there_is_told_in_the_language_of_the_account(serving):
    with signed_in(serving, "crew") as person:
        token = person.csrf()
        person.client.post("/me/language", data={"csrf": token, "language": "es"})
        person.get("/me")
        lost = person.client.get("/nothing-here", headers={"Accept-Language": "en"})
        assert '<html lang="es"' in lost.text


def test_kinds_of_address_are_told_in_spanish(serving):
    with signed_in(serving, "viewer") as person:
        page = person.client.get("/notices", headers=SPANISH).text
    assert "<dt>Mensaje de texto</dt>" in page
    assert "<dt>Text message</dt>" not in page
