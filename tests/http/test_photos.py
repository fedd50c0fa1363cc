"""Photos of drums and deliveries over HTTP: kept, shown to who may see them, and nothing else."""

from collections.abc import Iterator
from io import BytesIO
from uuid import UUID, uuid4

import httpx
import pytest
from PIL import Image

from drumkeep.domain.roles import Role
from tests.builders.photos import bomb, photo
from tests.fixtures.answers import check_problem
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, nobody, serving
from tests.fixtures.yard import LOT, Yard, yard

__all__ = ["manager", "nobody", "serving", "yard"]

PHOTOS = "/api/v1/photos"
JPEG = {"Content-Type": "image/jpeg"}


@pytest.fixture(scope="module")
def rosa(serving) -> Iterator[Person]:
    """Give somebody of the crew."""
    with signed_in(serving, "crew", display_name="Rosa") as person:
        yield person


@pytest.fixture(scope="module")
def tag(yard: Yard) -> str:
    found: str = yard.receive()["tag"]
    return found


def sent(client: httpx.Client, content: bytes, **query: str) -> httpx.Response:
    return client.post(PHOTOS, params=query, content=content, headers=JPEG)


def test_a_photo_is_kept_with_who_and_what_and_answered_as_a_picture_only(yard, tag):
    answer = sent(yard.client, photo(), drum=tag, shows="solids", note="at the bottom")
    assert answer.status_code == 201, answer.text
    told = answer.json()
    assert (told["drum"], told["shows"], told["note"]) == (tag, "solids", "at the bottom")
    assert (told["by"], told["taken"]) == ("test manager", "2026-01-31 05:02:03")
    for query in ("", "?small=true"):
        shown = yard.client.get(f"{PHOTOS}/{told['id']}/jpeg{query}")
        assert shown.headers["Content-Type"] == "image/jpeg"
        assert shown.headers["X-Content-Type-Options"] == "nosniff"
        assert shown.headers["Content-Security-Policy"] == "default-src 'none'; sandbox"
        assert shown.headers["Cache-Control"] == "private, no-cache"
        known = {"If-None-Match": shown.headers["ETag"]}
        again = yard.client.get(f"{PHOTOS}/{told['id']}/jpeg{query}", headers=known)
        assert (again.status_code, again.content) == (304, b"")
        assert not Image.open(BytesIO(shown.content)).getexif()
    assert yard.client.get(f"{PHOTOS}/{told['id']}").json() == told
    assert told in yard.client.get(PHOTOS, params={"drum": tag}).json()["items"]


def test_the_same_photo_sent_again_is_one_photo(yard):
    drum = yard.receive()["tag"]
    content = photo(size=(200, 100))
    first, again = (sent(yard.client, content, drum=drum).json() for _ in range(2))
    assert first == again
    assert len(yard.client.get(PHOTOS, params={"drum": drum}).json()["items"]) == 1


def test_only_who_records_may_add_one_and_only_who_signed_in_may_see_it(serving, yard, nobody, tag):
    key = sent(yard.client, photo(size=(64, 64)), drum=tag).json()["id"]
    with serving.client(Role.VIEWER) as viewer:
        assert sent(viewer, photo(), drum=tag).status_code == 403
        assert viewer.get(f"{PHOTOS}/{key}/jpeg").status_code == 200
    known = {"If-None-Match": yard.client.get(f"{PHOTOS}/{key}/jpeg").headers["ETag"]}
    assert nobody.get(f"{PHOTOS}/{key}/jpeg", headers=known).status_code == 401
    shown = nobody.get(f"/photos/{key}")
    assert shown.status_code == 303
    assert shown.headers["Location"].startswith("/sign-in")


@pytest.mark.parametrize(
    ("content", "query", "field"),
    [
        (b"<html>", {}, "photo"),
        (bomb(60_000), {}, "photo"),
        (photo(), {"shows": "ghosts"}, "shows"),
        (photo(), {"event": str(uuid4())}, "event"),
        (photo(), {"delivery": str(uuid4())}, "delivery"),
        (photo(), {"note": "x" * 501}, "note"),
        (photo(), {"claim": "x"}, "claim"),
    ],
    ids=["words", "bomb", "shows", "event", "delivery", "note", "claim"],
)
def test_what_cannot_be_kept_is_refused_by_field(yard, tag, content, query, field):
    answer = sent(yard.client, content, drum=tag, **query)
    assert answer.status_code == 422, answer.text
    assert field in [fault["field"] for fault in answer.json()["errors"]]


def test_of_nothing_unknown_drums_and_other_kinds_of_body_are_refused(yard, tag):
    assert sent(yard.client, photo()).status_code == 422
    assert sent(yard.client, photo(), drum="2222222").status_code in (404, 422)
    assert sent(yard.client, photo(), claim="999").status_code == 404
    wrong = yard.client.post(PHOTOS, params={"drum": tag}, json={})
    check_problem(wrong, 415)
    assert yard.client.get(f"{PHOTOS}/{uuid4()}/jpeg").status_code == 404


def test_what_is_off_is_received_with_a_photo_and_the_receipt_shows_it(yard, rosa):
    form = Page(rosa.client.get("/receive").text).forms[-1]
    form.fields |= {"product": yard.iso, "lot": LOT, "count": "2", "place": yard.place("dock")}
    form.fields |= {"solids": "seen"}
    del form.fields["photo"]
    answer = rosa.client.post(
        "/receive", data=form.fields, files={"photo": ("IMG_1.jpg", photo(), "image/jpeg")}
    )
    assert answer.status_code == 303, answer.text
    receipt = rosa.get(answer.headers["Location"])
    (picture,) = [i for i in receipt.all("img") if i["src"].startswith("/photos/")]
    assert picture["alt"] == "Solids"
    shown = rosa.client.get(picture["src"])
    assert shown.headers["Content-Type"] == "image/jpeg"
    assert "On hold: solids seen on arrival" in receipt.words
    # It belongs to both drums of the delivery.
    tags = [a["href"][7:] for a in receipt.all("a") if a["href"].startswith("/drums/")]
    for drum in tags:
        (told,) = yard.client.get(PHOTOS, params={"drum": drum}).json()["items"]
        assert picture["src"].startswith(f"/photos/{told['id']}")
    # And another one is added to the receipt afterwards.
    more = receipt.form("/photos")
    more.fields |= {"shows": "label"}
    del more.fields["photo"]
    answer = rosa.client.post(
        "/photos", data=more.fields, files={"photo": ("b.png", photo("PNG"), "image/png")}
    )
    assert answer.headers["Location"] == more.fields["next"]
    assert "The label." in rosa.get(more.fields["next"]).words


def test_a_file_that_is_no_photo_brings_the_form_back_filled_in(yard, rosa):
    form = Page(rosa.client.get("/receive").text).forms[-1]
    form.fields |= {"product": yard.iso, "lot": LOT, "count": "1", "place": yard.place("dock")}
    form.fields |= {"damage": "dent"}
    del form.fields["photo"]
    answer = rosa.client.post(
        "/receive", data=form.fields, files={"photo": ("a.jpg", b"<html>", "image/jpeg")}
    )
    assert answer.status_code == 422
    page = Page(answer.text)
    assert "Photo cannot be read: it is no JPEG, PNG or WebP" in page.words
    assert page.forms[-1].fields["damage"] == "dent"
    assert UUID(page.forms[-1].fields["id"]) == UUID(form.fields["id"])


def test_the_label_is_kept_and_what_does_not_agree_with_it_is_held(yard, rosa):
    label = "(01)09506000134352(10)B-91(11)260113(17)270113(21)00071(4333)001500(4331)003000"
    form = Page(rosa.client.get("/receive", params={"label": label}).text).forms[-1]
    assert form.fields["label"] == label
    form.fields |= {"product": yard.iso, "count": "1", "place": yard.place("dock")}
    form.fields |= {"temperature": "41", "measured": "dip"}
    del form.fields["photo"]
    answer = rosa.client.post("/receive", data=form.fields)
    assert answer.status_code == 303, answer.text
    words = rosa.get(answer.headers["Location"]).words.replace("\N{NO-BREAK SPACE}", " ")
    assert "On hold: came at 41 °F (5.0 °C), under the 59 °F (15.0 °C) of its label" in words
    assert "Label: serial 00071" in words
    assert "Label: keep at 59–86 °F" in words
    assert f"Label as read {label}" in words


def test_a_photo_that_is_taken_after_a_look_belongs_to_that_look(yard, rosa):
    drum = yard.receive()["tag"]
    rosa.record(drum, "inspected", solids="seen")
    page = rosa.get(f"/drums/{drum}")
    assert "Add a photo of what was found" in page.words
    form = page.form("/photos")
    form.fields |= {"shows": "solids"}
    del form.fields["photo"]
    answer = rosa.client.post(
        "/photos", data=form.fields, files={"photo": ("a.jpg", photo(), "image/jpeg")}
    )
    assert answer.headers["Location"] == f"/drums/{drum}#photos"
    (look,) = [e for e in yard.history(drum)["events"] if e["kind"] == "inspected"]
    (told,) = yard.client.get(PHOTOS, params={"drum": drum}).json()["items"]
    assert told["event"] == look["id"]
