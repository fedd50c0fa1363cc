"""Labels over HTTP: sheets for those who may print, read back; who printed what is on record."""

from collections.abc import Iterator

import httpx
import pypdfium2
import pytest
import zxingcpp

from drumkeep.domain.labels import MOST_AT_ONCE, SIZES
from drumkeep.domain.roles import Role
from tests.builders.stock import ago
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.html import Page
from tests.fixtures.people import signed_in
from tests.fixtures.serving import Serving, manager, serving
from tests.fixtures.yard import Yard, yard

__all__ = ["manager", "serving", "yard"]

ADDRESS = "https://drums.example"
LABELS = "/api/v1/labels"


@pytest.fixture(autouse=True)
def public(serving) -> Iterator[None]:
    """Have phones come by an address that is set."""
    serving.app.state.public_url = ADDRESS
    yield
    serving.app.state.public_url = None


def codes(answer: httpx.Response) -> list[str]:
    """Return what the codes on an answered PDF say, sheet by sheet."""
    assert answer.status_code == 200, answer.text
    assert answer.headers["Content-Type"] == "application/pdf"
    found = []
    for page in pypdfium2.PdfDocument(answer.content):
        image = page.render(scale=150 / 72, grayscale=True).to_pil()
        found += sorted(code.text for code in zxingcpp.read_barcodes(image))
    return found


def words(answer: httpx.Response) -> str:
    pages = pypdfium2.PdfDocument(answer.content)
    return " ".join(" ".join(p.get_textpage().get_text_bounded() for p in pages).split())


def prints(yard: Yard, **query: str) -> list[dict[str, object]]:
    answer = yard.client.get(LABELS, params=query)
    assert answer.status_code == 200, answer.text
    found: list[dict[str, object]] = answer.json()["items"]
    return found


def test_labels_lead_to_the_verdicts_and_places_at_the_public_address(yard):
    tags = [yard.receive(product=side)["tag"] for side in (yard.iso, yard.resin)]
    answer = yard.client.post(
        LABELS, json={"size": "letter-4x5in", "drums": tags, "places": [yard.place("hall")]}
    )
    expected = [f"{ADDRESS}/d/{tag}" for tag in tags] + [f"{ADDRESS}/places/{yard.place('hall')}"]
    assert codes(answer) == sorted(expected)
    assert "labels-letter-4x5in.pdf" in answer.headers["Content-Disposition"]


def test_label_says_lot_dates_and_limits_in_both_units(yard):
    tag = yard.receive(at=ago(1.0))["tag"]
    for units, first in (("us", "Store at 50–75 °F (10.0–23.9 °C)"), ("si", "Store at 10.0–23.9")):
        body = {"size": "4x6in", "drums": [tag], "units": units}
        found = words(yard.client.post(LABELS, json=body))
        assert first in found
        assert "Lot L-1" in found
        for what in ("Made", "Expires", "Received"):
            assert f"{what} " in found
        assert "Isocyanate" in found
        assert "Safety data sheet" in found


def test_every_label_is_on_record_and_the_second_is_a_reprint(yard):
    tag = yard.receive()["tag"]
    for size in ("4x6in", "a4-99.1x139mm"):
        assert yard.client.post(LABELS, json={"size": size, "drums": [tag]}).is_success
    first, second = prints(yard, drum=tag)
    assert (first["copy_number"], first["reprint"], first["size"]) == (1, False, "4x6in")
    assert (second["copy_number"], second["reprint"]) == (2, True)
    assert {first["by"], second["by"]} == {"test manager"}
    assert first["drum"] == tag
    assert first["place"] is None


def test_tag_told_twice_is_one_label(yard):
    tag = yard.receive()["tag"]
    body = {"size": "4x6in", "drums": [tag, tag.lower().replace("-", "")]}
    assert codes(yard.client.post(LABELS, json=body)) == [f"{ADDRESS}/d/{tag}"]
    assert len(prints(yard, drum=tag)) == 1


def test_prints_are_listed_in_pages(yard):
    tag = yard.receive()["tag"]
    for _ in range(3):
        yard.client.post(LABELS, json={"size": "4x6in", "drums": [tag]})
    page = yard.client.get(LABELS, params={"drum": tag, "limit": 2}).json()
    rest = yard.client.get(LABELS, params={"drum": tag, "cursor": page["next_cursor"]}).json()
    assert [p["copy_number"] for p in page["items"] + rest["items"]] == [1, 2, 3]
    assert rest["next_cursor"] is None


@pytest.mark.parametrize(
    ("changes", "status", "field"),
    [
        ({"size": "a4-38x21mm"}, 422, "size"),
        ({"start": 3}, 422, "start"),
        ({"start": 0}, 422, "start"),
        ({"drums": []}, 422, "drums"),
        ({"drums": ["K7Q-X0M"]}, 422, "drums"),
        ({"drums": ["AAA-AAA"]}, 422, "drums"),
        ({"drums": [], "places": ["north/nowhere"]}, 422, "places"),
        ({"drums": ["K7Q-X4M"] * (MOST_AT_ONCE + 1)}, 422, "drums"),
        ({"units": "imperial"}, 422, "units"),
    ],
)
def test_what_cannot_be_printed_is_told_with_its_mend_and_nothing_is_logged(
    serving, yard, changes, status, field
):
    tag = yard.receive()["tag"]
    before = stored(serving)
    body = {"size": "letter-8.5x5.5in", "drums": [tag]} | changes
    check_problem(yard.client.post(LABELS, json=body), status, field)
    assert stored(serving) == before


def test_drum_that_is_gone_gets_no_label(yard):
    tag = yard.receive()["tag"]
    yard.record(tag, "emptied")
    answer = yard.client.post(LABELS, json={"size": "4x6in", "drums": [tag]})
    assert "emptied" in check_problem(answer, 409, "drums")["problem"]


def test_no_label_is_made_before_somebody_has_set_where_its_code_leads(serving, yard):
    tag = yard.receive()["tag"]
    serving.app.state.public_url = None
    before = stored(serving)
    answer = yard.client.post(LABELS, json={"size": "4x6in", "drums": [tag]})
    assert "https://" in check_problem(answer, 409, "DRUMKEEP_PUBLIC_URL")["mend"]
    assert stored(serving) == before
    with signed_in(serving, "crew") as person:
        page = person.get(f"/labels?tags={tag}")
        assert "DRUMKEEP_PUBLIC_URL" in page.words
        assert "Make the PDF" not in page.words


@pytest.mark.parametrize("role", list(Role))
def test_crew_prints_and_a_viewer_does_not(serving: Serving, yard: Yard, role: Role):
    tag = yard.receive()["tag"]
    with serving.client(role) as client:
        answer = client.post(LABELS, json={"size": "4x6in", "drums": [tag]})
    if role is Role.VIEWER:
        check_problem(answer, 403)
        assert prints(yard, drum=tag) == []
    else:
        assert codes(answer) == [f"{ADDRESS}/d/{tag}"]


def test_sizes_are_listed_by_what_they_measure(yard):
    items = yard.client.get(f"{LABELS}/sizes").json()["items"]
    assert [item["code"] for item in items] == list(SIZES)
    assert items[0]["width_mm"] == 101.6


def test_person_prints_the_label_of_a_drum_from_its_page_and_the_page_tells_of_it(serving, yard):
    tag = yard.receive()["tag"]
    with signed_in(serving, "crew", display_name="Rosa") as person:
        links = [a["href"] for a in person.get(f"/drums/{tag}").all("a")]
        (link,) = (href for href in links if href.startswith("/labels?tags"))
        for _ in range(2):
            form = person.get(link).form("/labels", drums=tag)
            form.fields["size"] = "a4-99.1x139mm"
            answer = person.send(form)
            assert codes(answer) == [f"{ADDRESS}/d/{tag}"]
        said = person.get(f"/drums/{tag}").words
        assert "Printed (A4, 4 of 99.1 × 139 mm) Rosa" in said
        assert "Reprinted, label 2 (A4, 4 of 99.1 × 139 mm) Rosa" in said
        again = person.get(link)
        assert again.form("/labels", drums=tag).fields["size"] == "a4-99.1x139mm"
        assert "has 2 labels" in again.words
    assert [row["by"] for row in prints(yard, drum=tag)] == ["Rosa", "Rosa"]


def test_all_drums_of_a_lot_in_a_place_are_printed_at_once_behind_used_labels(serving, yard):
    lot = yard.lot(yard.resin, "L-9")
    tags = [yard.receive(product=yard.resin, lot=lot, place=yard.place("dock"))["tag"]]
    tags += [yard.receive(product=yard.resin, lot=lot)["tag"] for _ in range(3)]
    with signed_in(serving, "crew") as person:
        page = person.get(f"/labels?lot={lot}")
        assert [box["value"] for box in page.all("input") if box.get("name") == "drums"] == sorted(
            tags
        )
        narrowed = person.get(f"/labels?lot={lot}&place={yard.place('hall')}")
        there = [box["value"] for box in narrowed.all("input") if box.get("name") == "drums"]
        assert there == sorted(tags[1:])
        csrf = narrowed.form("/labels", start="1").fields["csrf"]
        answer = person.client.post(
            "/labels",
            data={"csrf": csrf, "drums": there, "size": "letter-4x3.33in", "start": "5"},
        )
    sheets = [f"{ADDRESS}/d/{tag}" for tag in there]
    assert codes(answer) == [*sheets[:2], *sheets[2:]]
    assert len(pypdfium2.PdfDocument(answer.content)) == 2


def test_place_has_a_label_of_its_own(serving, yard):
    with signed_in(serving, "crew") as person:
        place = yard.place("room")
        links = [a["href"] for a in person.get(f"/places/{place}").all("a")]
        (link,) = (href for href in links if href.startswith("/labels?places="))
        answer = person.send(person.get(link).form("/labels", places=place))
        assert codes(answer) == [f"{ADDRESS}/places/{place}"]
        assert person.get(f"/places/{place}").words
    assert prints(yard, place=place)[-1]["place"] == place


def test_what_no_drum_bears_is_told_on_the_page(serving, yard):
    assert yard
    with signed_in(serving, "viewer") as person:
        assert "No drum that is here fits." in person.get("/labels?lot=none").words
        answer = person.client.get("/labels?tags=K7Q-X0M")
        assert answer.status_code == 422
        assert "K7Q-X0M" in Page(answer.text).words
