"""A temperature that no drum of foam chemical has is refused by every way in, and says why."""

from uuid import uuid4

import pytest

from drumkeep.domain.roles import Role
from tests.builders.stock import ago, event
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.html import Page
from tests.fixtures.people import signed_in
from tests.fixtures.serving import serving
from tests.fixtures.yard import API, LOT, yard

__all__ = ["serving", "yard"]
CSV = {"Content-Type": "text/csv"}


def fahrenheit(c):
    return c * 1.8 + 32.0


@pytest.mark.parametrize(("c", "how"), [(95.5, "hotter"), (337.8, "hotter"), (-40.5, "colder")])
def test_programs_and_spreadsheets_are_refused_what_no_drum_has(serving, yard, c, how):
    tag = yard.receive()["tag"]
    right = yard.record(tag, "dipped", c=20.0)["event"]["id"]
    wrong = event("corrected", event=right, void=False, data={"c": c})
    rows = {
        "drums": f"product,lot,place,received,temp\n{yard.iso},{LOT},{yard.place('hall')},"
        f"{ago(1.0)},{fahrenheit(c):.1f} F\n",
        "events": f"tag,at,kind,temp\n{tag},{ago(0.5)},dipped,{fahrenheit(c):.1f} F\n",
    }
    before = stored(serving)

    for field, answer in (
        ("liquid_c", yard.client.post(f"{API}/drums", json=yard.drum(liquid_c=c))),
        ("c", yard.send(tag, event("dipped", c=c))),
        ("c", yard.send(tag, event("skin", c=c))),
        ("data.c", yard.send(tag, wrong)),
    ):
        check_problem(answer, 422, field)
        assert f"{how} than any drum" in answer.text
    for noun, text in rows.items():
        told = yard.client.post(f"{API}/imports/{noun}", content=text, headers=CSV).json()
        (fault,) = told["rows"][0]["faults"]
        assert (told["stored"], fault["field"]) == (False, "temp")
        assert f"{how} than any drum" in fault["problem"]
    assert stored(serving) == before


def test_what_a_cold_yard_or_an_overheated_drum_has_is_taken(yard):
    tag = yard.receive(liquid_c=-40.0)["tag"]
    for c in (95.0, -40.0):
        yard.record(tag, "skin", c=c)


def test_a_person_is_told_in_the_units_of_the_form(serving, yard):
    tag = yard.receive()["tag"]
    with signed_in(serving, Role.CREW) as person:
        dipped = person.record(tag, "dipped", temperature="250")
        form = person.get("/receive").form("/receive")
        filled = {"product": yard.iso, "lot": LOT, "place": yard.place("dock"), "count": "2"}
        fields = form.fields | filled | {"id": str(uuid4()), "temperature": "212"}
        received = person.client.post("/receive", data=fields)
    assert "250 °F" in Page(dipped.text).words
    for answer in (dipped, received):
        assert answer.status_code == 422
        words = Page(answer.text).words
        assert "hotter than any drum of foam chemical" in words
        assert "from -40 °F to 203 °F" in words
