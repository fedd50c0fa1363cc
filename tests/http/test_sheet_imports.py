"""A spreadsheet by API and by page: each row's fate first, then stored, and harmless again."""

from uuid import uuid4

import pytest

from drumkeep.domain.roles import Role
from tests.builders.stock import ago
from tests.fixtures.answers import check_problem
from tests.fixtures.html import Page
from tests.fixtures.people import signed_in
from tests.fixtures.serving import manager, nobody, serving
from tests.fixtures.yard import yard

__all__ = ["manager", "nobody", "serving", "yard"]
ADDRESS = "/api/v1/imports"
CSV = {"Content-Type": "text/csv"}


@pytest.fixture
def lots(yard):
    """Give a file of one lot that can be used and one that cannot, and the good one's code."""
    code = uuid4().hex[:8].upper().replace("E", "F")
    return f"Material;Batch;Made\n{yard.iso};{code};2026-01-09\n{yard.iso};;2026-01-09\n", code


def known(client, yard, code):
    return client.get(f"/api/v1/lots/{yard.iso}/{code}").status_code == 200


def test_a_program_sees_each_rows_fate_and_stores_what_is_good_once(manager, yard, lots):
    text, code = lots
    for how, stored, fate in (
        ({"check": "true"}, False, "new"),
        ({}, False, "new"),
        ({"take_good": "true"}, True, "new"),
        ({"take_good": "true"}, True, "there"),
    ):
        answer = manager.post(f"{ADDRESS}/lots", content=text, headers=CSV, params=how)
        assert answer.status_code == 200, answer.text
        told = answer.json()
        assert (told["stored"], told["rows"][0]["fate"]) == (stored, fate)
        assert told["rows"][0]["read"] == {"made on": "2026-01-09"}
        assert told["rows"][1]["faults"][0]["field"] == "Batch"
        assert known(manager, yard, code) is stored
    refused = manager.post(f"{ADDRESS}/lots", content=b"x,y\n1,2\n", headers=CSV)
    check_problem(refused, 422)


def test_a_crew_member_brings_in_what_happened_and_no_lots(serving, yard, lots):
    tag = yard.receive()["tag"]
    text = f"Drum;When;What happened\n{tag};{ago(0.1)};Opened\n"
    with signed_in(serving, Role.CREW) as person:
        page = person.get("/import")
        assert "Columns of events" in page.words
        assert "Columns of lots" not in page.words
        assert "A logger's download" not in page.words
        fields = page.form("/import").fields | {"what": "events", "do": "store"}
        answer = person.client.post("/import", data=fields, files={"file": ("log.csv", text)})
        assert "1 new" in Page(answer.text).words
        refused = fields | {"what": "lots"}
        denied = person.client.post("/import", data=refused, files={"file": ("l.csv", lots[0])})
        assert denied.status_code == 403
    with serving.client(Role.CREW) as program:
        again = program.post(f"{ADDRESS}/events", content=text, headers=CSV).json()
        assert [row["fate"] for row in again["rows"]] == ["there"]
        assert program.post(f"{ADDRESS}/lots", content=lots[0], headers=CSV).status_code == 403


def test_a_person_sees_what_would_become_of_it_before_it_is_stored(serving, manager, yard, lots):
    text, code = lots
    with signed_in(serving, "manager") as person:
        form = person.get("/import").form("/import")
        fields = form.fields | {"what": "lots", "do": "check"}
        seen = person.client.post(
            "/import", data=fields, files={"file": ("lots.csv", text.encode("cp1252"))}
        )
        assert "1 new" in Page(seen.text).words
        assert "made on 2026-01-09" in Page(seen.text).words
        assert "Batch is empty" in Page(seen.text).words
        assert not known(manager, yard, code)
        (good,) = (form for form in Page(seen.text).forms if "kept" in form.fields)
        for fate in ("1 new", "1 there already"):
            answer = person.client.post("/import", data=good.fields | {"do": "good"})
            assert fate in Page(answer.text).words
        assert known(manager, yard, code)
