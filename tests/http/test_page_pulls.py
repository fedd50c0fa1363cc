"""The pages of pull lists and of hooking up, as a crew uses them."""

from collections.abc import Iterator

import pytest

from drumkeep.storage.tables.side_checks import SideCheck
from drumkeep.storage.transaction import reading
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.pulling import Pulling, pulling
from tests.fixtures.serving import serving
from tests.fixtures.yard import yard

__all__ = ["pulling", "serving", "yard"]


@pytest.fixture(scope="module")
def crew(serving) -> Iterator[Person]:
    with signed_in(serving, "crew", display_name="Rosa") as person:
        yield person


def made(crew: Person, pulling: Pulling, **fields: str) -> str:
    """Make a list by its form and return its address."""
    yard = pulling.yard
    pair = f"{yard.iso}|{yard.resin}"
    form = crew.fill("/pulls", "/pulls", site=yard.site, pair=pair, **fields)
    answer = crew.send(form)
    assert answer.status_code == 303, answer.text
    return answer.headers["Location"]


def test_crew_pulls_two_sets_and_scans_them_off(crew, pulling: Pulling):
    iso, resin = pulling.warm(), pulling.warm("resin")
    where = made(crew, pulling, sets="2")
    page = crew.get(where)
    assert page.words.count("1 drum is missing.") == 2
    assert len(page.all("svg")) > 2, "a code for each drum on paper"
    scanned = crew.fill(where, f"{where}/take", tag=f"https://drums.example/d/{iso}")
    assert crew.send(scanned).status_code == 303
    assert "1 taken" in crew.get(where).words
    assert "by Rosa" in crew.get(where).words
    assert {"class": "button", "href": f"/move?drum={iso}"} in crew.get(where).all("a")

    pulling.yard.record(resin, "held", reason="a dent")
    spare = pulling.warm("resin", net_kg=80.0)
    assert "NOT READY IN TIME: on hold." in crew.get(where).words
    refused = crew.send(crew.fill(where, f"{where}/take", tag=resin))
    assert refused.status_code == 409
    told = Page(refused.text)
    assert "DO NOT TAKE IT" in told.words
    assert f"Ready instead: {spare}" in told.words
    swapped = crew.send(told.form(f"{where}/swap"))
    assert swapped.status_code == 303
    wrong = Page(crew.send(crew.fill(where, f"{where}/take", tag=resin)).text)
    assert "WRONG DRUM" in wrong.words
    assert f"Take: {spare}" in wrong.words


def test_what_cannot_be_is_told_on_the_filled_in_form_and_leaves_no_list(crew, pulling: Pulling):
    yard = pulling.yard
    pair = f"{yard.iso}|{yard.resin}"
    before = len(yard.client.get("/api/v1/pulls").json()["items"])
    form = crew.fill("/pulls", "/pulls", site=yard.site, pair=pair, sets="2")
    answer = crew.send(form)
    assert answer.status_code == 422
    assert "There is no drum to take." in Page(answer.text).words
    assert Page(answer.text).form("/pulls").fields["sets"] == "2"
    assert len(yard.client.get("/api/v1/pulls").json()["items"]) == before


def test_two_drums_of_a_side_are_answered_loudly_and_kept_with_who_asked(
    serving, crew, pulling: Pulling
):
    first, second = pulling.warm(), pulling.warm()
    form = crew.get(f"/hookup?first={first}").form("/hookup", first=first)
    form.fields["second"] = second
    answer = crew.send(form)
    page = crew.get(answer.headers["Location"])
    assert "DO NOT HOOK UP" in page.words
    assert f"Both are A, iso: {first} and {second}." in page.words
    assert "sets solid" in page.words
    listed = crew.get(f"/hookup?drum={second}&answer=do_not").words
    assert "Rosa" in listed
    assert "Both are A" in listed
    with reading(serving.engine) as tx:
        kept = tx.session.get(SideCheck, int(answer.headers["Location"].rsplit("/", 1)[1]))
        assert kept is not None
        assert kept.account_id is not None


def test_a_crew_that_reads_spanish_is_refused_in_spanish(crew, pulling: Pulling, monkeypatch):
    iso, resin = pulling.warm(), pulling.warm("resin")
    where = made(crew, pulling, sets="1")
    other = pulling.warm()
    monkeypatch.setitem(crew.client.headers, "Accept-Language", "es-MX")

    wrong = Page(crew.send(crew.fill(where, f"{where}/take", tag=other)).text).words
    assert "TAMBOR EQUIVOCADO" in wrong
    assert f"es iso, y no está en esta lista. Llévese {iso}, lote " in wrong
    pulling.yard.record(resin, "held", reason="a dent")
    held = Page(crew.send(crew.fill(where, f"{where}/take", tag=resin)).text).words
    assert "NO SE LO LLEVE" in held
    assert "no estará listo a tiempo." in held
    mistyped = Page(crew.send(crew.fill(where, f"{where}/take", tag="K7Q")).text).words
    assert "tiene 3 símbolos, una clave tiene 6." in mistyped

    form = crew.get(f"/hookup?first={iso}").form("/hookup", first=iso)
    form.fields["second"] = other
    answer = crew.get(crew.send(form).headers["Location"]).words
    assert "NO LOS CONECTE" in answer
    assert f"Los dos son A, iso: {iso} y {other}." in answer
