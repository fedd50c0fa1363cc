"""The page behind a drum's QR code: each answer, its time, what to do, what to take instead."""

import re
from collections.abc import Iterator
from datetime import datetime
from typing import Any

import pytest

from tests.builders import catalogue
from tests.builders.stock import ago
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import Yard, yard

__all__ = ["manager", "serving", "yard"]


@pytest.fixture(scope="module")
def crew(serving) -> Iterator[Person]:
    with signed_in(serving, "crew") as person:
        yield person


def answer(person: Person, tag: str) -> tuple[str, str, Page]:
    """Return the phrase, all the words, and the page."""
    page = person.get(f"/d/{tag}")
    found = re.search(r"READY|NOT YET|DO NOT OPEN|LOOK FIRST|ASK", page.words)
    assert found
    return found[0], page.words.replace("\N{NO-BREAK SPACE}", " "), page


def drum(yard: Yard, **changes: Any) -> str:
    tag: str = yard.receive(**changes)["tag"]
    return tag


def warm(yard: Yard, **changes: Any) -> str:
    return drum(yard, place=yard.place("room"), liquid_c=27.0, **changes)


def test_ready(yard, crew):
    phrase, words, page = answer(crew, warm(yard))
    assert phrase == "READY"
    assert "All of the liquid is between 70 °F and 90 °F." in words
    assert "gloves" in words
    assert "Ready instead" not in words
    assert page.all("time") == []


def test_not_yet_tells_the_time_that_the_service_computed_and_where(yard, crew):
    tag = drum(yard, liquid_c=18.0)
    phrase, words, page = answer(crew, tag)
    readiness = yard.get(tag)["readiness"]
    assert phrase == "NOT YET"
    assert readiness["ready_in_warm_room_at"] < (readiness["ready_at"] or "9")
    (time,) = page.all("time")
    computed = datetime.fromisoformat(readiness["ready_in_warm_room_at"])
    assert datetime.fromisoformat(time["datetime"]) == computed.replace(microsecond=0)
    assert "if moved to Room" in words
    assert "Move it into Room." in words
    assert "Never heat a tight drum." in words


def test_not_yet_for_the_warm_sends_nothing_to_a_warm_room(yard, crew):
    phrase, words, _ = answer(crew, drum(yard, liquid_c=36.0))
    assert phrase == "NOT YET"
    assert "cooler" in words
    assert "Room" not in words.partition("Ready instead")[0]


def test_do_not_open_what_was_seen_bulged(yard, crew):
    tag = warm(yard)
    yard.record(tag, "inspected", bulge="seen")
    phrase, words, _ = answer(crew, tag)
    assert phrase == "DO NOT OPEN"
    assert "step away" in words
    assert "gloves" not in words


def test_do_not_open_what_is_under_pressure(yard, crew):
    phrase, words, _ = answer(crew, drum(yard, product=yard.resin, liquid_c=60.0, at=ago(0.2)))
    assert phrase == "DO NOT OPEN"
    assert "psi" in words
    assert "Do not move it either." in words


def test_do_not_open_iso_that_is_fit_to_spray_and_would_sweat(yard, crew):
    # Magnus: air of 27 °C at 70 % has its dew point at 21 °C; the liquid is at 15.
    tag = drum(yard, place=yard.place("room"), liquid_c=15.0, at=ago(0.1))
    yard.record(tag, "wanted", at=ago(-24.0), output="under_20")
    assert yard.get(tag)["readiness"]["state"] == "ready"
    phrase, words, _ = answer(crew, tag)
    assert phrase == "DO NOT OPEN"
    assert "sweats" in words
    assert "70 % humidity, assumed" in words
    table = crew.get("/floor/table?readiness=ready").words
    assert "ready, but keep it shut" in table


def test_look_first_where_solids_were_seen_with_the_steps_to_dissolve_them(yard, crew):
    tag = warm(yard)
    yard.record(tag, "inspected", reached_bottom=True, solids="seen")
    phrase, words, _ = answer(crew, tag)
    assert phrase == "LOOK FIRST"
    assert "warm to 90 °F or over for 4 h with 30 min of agitation" in words
    assert "Never heat a tight drum" in words


def test_look_first_where_it_got_cold(yard, crew):
    # In dry air, so that nothing sweats.
    mount = {"what": "humidity", "place": yard.place("van"), "since": ago(24.0)}
    name = catalogue.fresh("urn:dev:os:32473-damp") + ":damp"
    sensor = catalogue.sensor(name=name, quantity="humidity", mount=mount)
    assert yard.client.post("/api/v1/sensors", json=sensor).status_code == 201
    pack = [{"n": name, "u": "%RH", "v": 20.0, "t": 0}]
    headers = {"Content-Type": "application/senml+json"}
    assert yard.client.post("/api/v1/readings", json=pack, headers=headers).is_success
    phrase, words, _ = answer(crew, drum(yard, place=yard.place("van"), liquid_c=3.0, at=ago(4.0)))
    assert phrase == "LOOK FIRST"
    assert "probe the bottom" in words
    assert "Vent slowly by the small bung." in words


def test_ask_about_what_a_person_holds(yard, crew):
    tag = warm(yard)
    yard.record(tag, "held", reason="a dent in the lid")
    phrase, words, _ = answer(crew, tag)
    assert phrase == "ASK"
    assert "On hold: a dent in the lid." in words


def test_ask_about_what_nobody_knows_with_the_cautions_of_opening_it(yard, crew):
    there = catalogue.place(yard.site, code=catalogue.fresh("shed"))
    assert yard.client.post("/api/v1/places", json=there).status_code == 201
    tag = drum(yard, product=yard.resin, place=f"{yard.site}/{there['code']}", liquid_c=None)
    phrase, words, _ = answer(crew, tag)
    assert phrase == "ASK"
    assert "Dip the liquid and record it." in words
    assert "Vent slowly" in words
    assert "no readings" in words


@pytest.mark.parametrize("end", ["emptied", "disposed"])
def test_ask_about_what_is_gone_though_its_label_is_still_read(yard, crew, end):
    tag = warm(yard)
    yard.record(tag, end)
    phrase, words, _ = answer(crew, tag)
    assert phrase == "ASK"
    assert f"This drum was {end}." in words
    assert "still bears its label" in words
    assert "Ready instead" not in words


def test_drum_to_take_instead_is_ready_of_the_same_product_lot_and_place_first(yard, crew):
    other_lot = catalogue.lot(yard.iso, code="L-2", made_on=ago(24.0 * 40)[:10])
    assert yard.client.post("/api/v1/lots", json=other_lot).status_code == 201
    cold = drum(yard, liquid_c=18.0)
    older = warm(yard, lot="L-2")
    held = warm(yard)
    yard.record(held, "held", reason="x")
    same = warm(yard, net_kg=60.0)  # a partial drum before a full one
    for _ in range(2):
        warm(yard)
    warm(yard, product=yard.resin)
    _, _, page = answer(crew, cold)
    (link,) = (a["href"] for a in page.all("a") if a["href"].startswith("/d/"))
    assert link == f"/d/{same}"
    phrase, _, _ = answer(crew, same)
    assert phrase == "READY"
    yard.record(same, "emptied")
    _, _, page = answer(crew, cold)
    (link,) = (a["href"] for a in page.all("a") if a["href"].startswith("/d/"))
    assert yard.get(link[3:])["lot"].endswith("L-1")
    assert link[3:] not in {older, held, same}
