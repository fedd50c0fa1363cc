"""What is done with drums all day is at the top of the floor; a scanned label leads to its page."""

from collections.abc import Iterator

import pytest

from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import yard

__all__ = ["manager", "serving", "yard"]


@pytest.fixture(scope="module")
def rosa(serving) -> Iterator[Person]:
    """Give somebody of the crew."""
    with signed_in(serving, "crew") as person:
        yield person


@pytest.mark.parametrize("path", ["/floor?view=shelves", "/floor/table"])
def test_what_is_done_with_drums_stands_above_all_else_on_the_floor(serving, path):
    deeds = ["/pulls", "/hookup", "/stock/counts", "/scan", "/labels", "/rig-checks"]
    for role, expected in (("crew", ["/move", *deeds]), ("viewer", deeds)):
        with signed_in(serving, role) as person:
            text = person.client.get(path).text
            _, _, rest = text.partition('<nav class="deeds"')
            row, _, below = rest.partition("</nav>")
            assert [part.split('"')[0] for part in row.split('href="')[1:]] == expected
            assert '<h2 id="now-h">' in below
            assert all(person.client.get(address).status_code == 200 for address in expected)


def test_a_scanned_label_leads_to_the_drum_or_the_place(yard, rosa):
    tag, place = yard.receive()["tag"], yard.place("hall")
    for code, where in (
        (f"https://drums.example/d/{tag}", f"/d/{tag}"),
        (tag.lower(), f"/d/{tag}"),
        (f"https://drums.example/places/{place}", f"/places/{place}"),
    ):
        answer = rosa.client.get("/scan", params={"code": code})
        assert (answer.status_code, answer.headers["Location"]) == (303, where)
        assert rosa.client.get(where).status_code == 200


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("https://example.com/shop", "is another address"),
        ("QQQ-QQQ", "."),
        ("north/nowhere", "is not known"),
    ],
)
def test_a_label_that_leads_nowhere_is_told(rosa, code, words):
    page = rosa.get(f"/scan?code={code}", status=422)
    assert words in page.words
    assert page.form("/scan").fields["code"] == code
