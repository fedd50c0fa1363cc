"""Two drums come with solids: they are held with a photo, claimed, and the record is sent."""

from tests.builders.photos import photo
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import LOT, Yard, yard

__all__ = ["manager", "serving", "yard"]

LABEL = f"(01)09506000134352(10){LOT}(21)00071"


def received(rosa: Person, yard: Yard) -> Page:
    """Have somebody of the crew receive two drums from a scan; return the receipt."""
    form = Page(rosa.client.get("/receive", params={"label": LABEL}).text).forms[-1]
    assert form.fields["lot"] == LOT
    form.fields |= {"product": yard.iso, "count": "2", "place": yard.place("dock")}
    form.fields |= {"temperature": "46", "measured": "dip", "solids": "seen"}
    del form.fields["photo"]
    taken = {"photo": ("IMG_0001.jpg", photo(turned=True), "image/jpeg")}
    answer = rosa.client.post("/receive", data=form.fields, files=taken)
    assert answer.status_code == 303, answer.text
    return rosa.get(answer.headers["Location"])


def test_what_came_with_solids_is_held_claimed_and_sent_with_all_that_proves_it(serving, yard):
    with (
        signed_in(serving, "crew", display_name="Rosa") as rosa,
        signed_in(serving, "manager", display_name="Mara") as mara,
    ):
        receipt = received(rosa, yard)
        tags = [a["href"][7:] for a in receipt.all("a") if a["href"].startswith("/drums/")]
        assert len(tags) == 2
        assert receipt.words.count("On hold: solids seen on arrival") == 2
        for tag in tags:
            assert yard.get(tag)["readiness"]["state"] == "on_hold"
        yard.advance()

        # The drum's page offers the claim for both; one tap makes it.
        drum = mara.get(f"/drums/{tags[0]}")
        assert "Solids on arrival." in drum.words
        offered = drum.form("/claims")
        ticked = [a["value"] for a in drum.all("input") if a.get("name") == "drums"]
        assert ticked == tags
        answer = mara.client.post("/claims", data=offered.fields | {"drums": tags})
        claim = answer.headers["Location"]
        page = mara.get(claim)

        # On one page, to be printed: who found what when, label, photo, temperatures, sensors.
        words = page.words.replace("\N{NO-BREAK SPACE}", " ")
        assert words.count("Solids on arrival") == 2
        assert words.count(f"Label, as read {LABEL}") == 2
        assert words.count("46 °F by a dip") == 2
        assert words.count("Our own temperature record since then") == 2
        assert yard.sensors["dock"] in words
        assert "State: open" in words
        (picture,) = [i for i in page.all("img") if i["src"].startswith("/photos/")]
        assert "loading" not in picture  # paper does not scroll
        shown = mara.client.get(picture["src"])
        assert shown.headers["Content-Type"] == "image/jpeg"
        assert (picture["width"], picture["height"]) == ("400", "300")  # upright

        # The crew may not say that it was sent, the manager does; the record stays as it was.
        rosa.get(claim)
        note = page.form(f"{claim}/notes")
        rosas = rosa.get(claim).form(f"{claim}/notes")
        assert "state" not in rosas.fields
        assert rosa.send(rosas_with(rosas)).status_code == 403
        note.fields |= {"state": "sent", "text": "Sent to the supplier with two photos."}
        assert mara.send(note).status_code == 303
        assert "State: sent to the supplier" in mara.get(claim).words
        assert f"2 drums of lot {LOT}" in mara.get("/claims").words
        assert "on its supplier" in mara.get(f"/drums/{tags[1]}").words
        csv = mara.client.get(f"{claim}/temperatures.csv")
        assert "bottom_f" in csv.text.splitlines()[0]
        number = int(claim.rsplit("/", 1)[1])
        told = yard.client.get(f"/api/v1/claims/{number}").json()
        assert told["state"] == "sent"
        assert [d["tag"] for d in told["record"]["drums"]] == tags


def rosas_with(form):
    """Return her form with a state that she was not offered."""
    form.fields |= {"state": "settled", "text": "x"}
    return form
