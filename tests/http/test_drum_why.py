"""Why a drum is said to be so: its page and its answer, over real HTTP."""

import re
from collections.abc import Iterator

import pytest

from drumkeep.domain.roles import Role
from tests.builders.stock import ago
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, nobody, serving
from tests.fixtures.yard import yard

__all__ = ["manager", "nobody", "serving", "yard"]

API = "/api/v1"


@pytest.fixture(scope="module")
def metric(serving) -> Iterator[Person]:
    with signed_in(serving, "crew", units="si") as person:
        yield person


@pytest.fixture(scope="module")
def reader(serving) -> Iterator[Person]:
    with signed_in(serving, "viewer") as person:
        yield person


@pytest.fixture(scope="module")
def dipped(yard) -> str:
    tag: str = yard.receive(liquid_c=24.0, at=ago(20.0))["tag"]
    yard.record(tag, "dipped", c=20.0, height_m=0.1, at=ago(3.0))
    return tag


@pytest.fixture(scope="module")
def undipped(yard) -> str:
    tag: str = yard.receive(at=ago(5.0), liquid_c=None, **{"from": yard.place("dock")})["tag"]
    return tag


def why(yard, tag, **query):
    answer = yard.client.get(f"{API}/drums/{tag}/why", params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_band_is_that_of_the_drum_and_its_parts_add_up(yard, dipped, undipped):
    for tag in (dipped, undipped):
        band, known = why(yard, tag)["band"], yard.get(tag)["estimate"]
        assert (band["low_c"], band["high_c"]) == pytest.approx((known["low_c"], known["high_c"]))
        parts = sum(part["half_width_k"] for part in band["parts"])
        assert parts == pytest.approx(band["half_width_k"], abs=1e-6)


def test_sensors_that_told_the_air_are_named_with_place_and_reading(yard, dipped):
    found = why(yard, dipped)
    (sensor,) = found["sensors"]
    assert sensor["sensor"] == yard.sensors["hall"]
    assert (sensor["what"], sensor["place"]) == ("air", "Hall")
    assert sensor["last"] == pytest.approx(18.0)
    assert (sensor["silent"], sensor["doubted"], sensor["doubts"]) == (False, False, [])
    assert found["place"]["place"] == yard.place("hall")
    assert found["place"]["air_c"] == pytest.approx(18.0)
    assert found["place"]["film_source"] == "named"
    assert found["place"]["film_low"] == pytest.approx(0.8)


def test_how_it_stands_and_what_heats_it_is_told(yard, reader):
    tag = yard.receive(liquid_c=18.0, share=0.6)["tag"]
    yard.record(tag, "heated", device="band", watts=1000, until=ago(-3.0), thermostat_c=30.0)
    found = why(yard, tag)
    assert found["place"]["side_share"] == pytest.approx(0.6)
    assert (found["heater"]["device"], found["heater"]["watts"]) == ("band", 1000.0)
    words = reader.get(f"/drums/{tag}/why").words
    assert "60 % of its side sees the air" in words
    assert "a heater of 1000 W" in words
    assert "held at 86 °F" in words


def test_start_is_told_from_where_it_is_known(yard, dipped, undipped):
    measured, guessed = why(yard, dipped)["start"], why(yard, undipped)["start"]
    assert (measured["told_by"], measured["measured_c"]) == ("measured", 24.0)
    assert (guessed["told_by"], guessed["origin"]) == ("air", "Dock")
    assert guessed["air_mean_c"] == pytest.approx(9.0)


def test_measurement_is_told_with_what_became_of_it(yard, dipped):
    (met,) = why(yard, dipped)["measurements"]
    assert (met["measured_c"], met["height_m"], met["sensor"]) == (20.0, 0.1, None)
    assert met["innovation_k"] == pytest.approx(20.0 - met["computed_c"])
    assert abs(met["after_c"] - 20.0) < abs(met["computed_c"] - 20.0)


def test_what_is_recommended_narrows_the_band_as_said_once_it_is_done(yard, undipped):
    before = why(yard, undipped)
    best = before["options"][0]
    assert best["way"].startswith("dip_")
    assert before["narrows_most"].startswith("A dip")
    # what was computed at that height, for the expected width is that of such a dip
    height = best["height_m"]
    bottom, top = (yard.get(undipped)["estimate"][name] for name in ("bottom_c", "top_c"))
    share = {"dip_bottom": 0.0, "dip_middle": 0.5, "dip_top": 1.0}[best["way"]]
    tag = yard.receive(at=ago(5.0), liquid_c=None, **{"from": yard.place("dock")})["tag"]
    yard.record(tag, "dipped", c=bottom + share * (top - bottom), height_m=height)
    after = why(yard, tag)["band"]["half_width_k"]
    assert after < before["band"]["half_width_k"]
    # a first dip tells what it began at, too: no less is gained than was said
    assert after <= best["half_width_k"] + 0.05


def test_limits_come_with_their_origin_and_follow_the_output(yard, dipped):
    limits = {limit["name"]: limit for limit in why(yard, dipped)["limits"]}
    assert limits["seed_c"]["value"] == pytest.approx(10.0)
    assert limits["seed_c"]["origin"] == "common practice, no source"
    slow = {limit["name"] for limit in why(yard, dipped, output="under_20")["limits"]}
    assert "use_low_under_20_c" in slow
    assert "use_low_from_20_c" not in slow


def test_properties_are_told_at_the_temperatures_of_the_liquid(yard, dipped):
    found = why(yard, dipped)
    known = yard.get(dipped)["estimate"]
    assert found["properties_at_c"] == pytest.approx(
        [known["bottom_c"], known["mean_c"], known["top_c"]]
    )
    viscosity = next(p for p in found["properties"] if p["name"] == "viscosity")
    # thicker at the colder bottom; 0.2 Pa s at 25 °C is the default of an iso
    assert viscosity["values"][0] >= viscosity["values"][2] > 0.2


def test_drum_that_is_gone_has_only_its_past(yard, reader):
    tag = yard.receive(liquid_c=18.0)["tag"]
    yard.record(tag, "emptied")
    found = why(yard, tag)
    assert (found["band"], found["place"], found["options"], found["sensors"]) == (
        *(None, None),
        *([], []),
    )
    assert "Nothing is computed of it now." in reader.get(f"/drums/{tag}/why").words


def test_unknown_tag_has_no_reasons(yard, reader):
    assert yard.client.get(f"{API}/drums/AAA-AAA/why").status_code == 404
    reader.get("/drums/AAA-AAA/why", status=404)


@pytest.mark.parametrize("role", Role)
def test_every_role_may_ask_why(serving, dipped, role):
    with serving.client(role) as client:
        assert client.get(f"{API}/drums/{dipped}/why").status_code == 200
        assert client.get(f"/drums/{dipped}/why").status_code == 200


def test_page_says_in_the_readers_units_what_the_answer_says(yard, reader, metric, dipped):
    found = why(yard, dipped)
    us, si = (who.get(f"/drums/{dipped}/why").words for who in (reader, metric))
    half = found["band"]["half_width_k"]
    assert f"{1.8 * half:.1f} °F either way" in us
    assert f"{half:.1f} °C either way" in si
    best = found["narrows_most"].partition(" would narrow ")[0]
    assert f"{best} would narrow" in us
    assert yard.sensors["hall"] in us
    assert "common practice, no source" in us
    assert "Received" in us
    assert re.search(r"Computed [\d.]+ °F, measured 68.0 °F", us)


def test_drum_page_leads_to_its_reasons(reader, dipped):
    links = [a["href"] for a in reader.get(f"/drums/{dipped}").all("a")]
    assert f"/drums/{dipped}/why" in links
    assert f"/drums/{dipped}" in [a["href"] for a in reader.get(f"/drums/{dipped}/why").all("a")]
