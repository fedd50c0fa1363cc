"""A drum's pressure over HTTP: its band, its mark, how full it is, what sweats."""

from collections.abc import Iterator

import pytest

from tests.builders import catalogue as build
from tests.builders.stock import ago, event
from tests.fixtures.answers import check_problem
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import serving
from tests.fixtures.yard import API, yard

__all__ = ["serving", "yard"]

MARK = "UN 1A1/Y1.4/150/26/USA"


def receipt(yard, tag):
    return yard.history(tag)["events"][0]["id"]


@pytest.fixture(scope="module")
def crew(serving) -> Iterator[Person]:
    with signed_in(serving, "crew") as person:
        yield person


def words_of(person, tag):
    return person.get(f"/drums/{tag}").words.replace("\N{NO-BREAK SPACE}", " ")


def test_a_drum_tells_its_likely_pressure_within_its_band(yard):
    drum = yard.receive(product=yard.resin, liquid_c=27.0)
    told = drum["pressure"]

    assert told["likely_kpa"] == drum["pressure_kpa"]
    assert told["low_kpa"] < told["likely_kpa"] < told["high_kpa"]
    assert told["at_55_c_kpa"] > told["high_kpa"]
    # 101.325 kPa at the sea; 227 kg in 216.5 L at 1150 kg/m³
    assert told["site_absolute_kpa"] == pytest.approx(101.325)
    assert told["fill"] == pytest.approx(227.0 / 1150.0 / 0.2165)
    assert "Computed, not measured" in told["said"][-1]


def test_a_drum_without_a_mark_says_that_it_is_not_known(yard):
    told = yard.receive()["pressure"]

    assert told["un_mark"] is None
    assert any(line.startswith("UN mark: Not known") for line in told["said"])


def test_a_mark_given_at_receipt_is_read_and_held_against_the_drum(yard):
    drum = yard.receive(un_mark=MARK)
    mark = drum["pressure"]["un_mark"]

    assert (mark["text"], mark["packing_groups"]) == (MARK, ["II", "III"])
    assert (mark["max_relative_density"], mark["test_kpa"]) == (1.4, 150.0)
    assert mark["gauge_at_55_c_limit_kpa"] == pytest.approx(100.0)
    assert mark["vapour_at_50_c_limit_kpa"] == pytest.approx(142.857, abs=0.001)
    assert mark["vapour_at_55_c_limit_kpa"] == pytest.approx(166.667, abs=0.001)
    assert all(check["holds"] for check in mark["checks"])
    assert yard.history(drum["tag"])["events"][0]["data"]["un_mark"] == MARK


@pytest.mark.parametrize(
    ("mark", "says"),
    [("1A2/Y400/S/24/USA", "solids"), ("blue drum", "no UN mark"), ("1A1/Y1.4/x", "test pressure")],
)
def test_a_mark_that_cannot_be_read_is_refused_and_no_drum_made(yard, mark, says):
    answer = yard.client.post(f"{API}/drums", json=yard.drum(un_mark=mark))
    fault = check_problem(answer, 422, "un_mark")

    assert fault["value"] == mark
    assert says in fault["problem"]


def test_a_mark_in_a_list_of_drums_is_named_with_its_place(yard):
    drums = [yard.drum(un_mark=MARK), yard.drum(un_mark="blue drum")]
    answer = yard.client.post(f"{API}/drums", json=drums)

    assert check_problem(answer, 422, "1.un_mark")["value"] == "blue drum"


def test_a_mark_is_corrected_added_and_taken_back(yard):
    drum = yard.receive()
    tag, first = drum["tag"], receipt(yard, drum["tag"])

    def corrected(mark):
        body = event("corrected", event=first, void=False, data={"un_mark": mark})
        answer = yard.send(tag, body)
        assert answer.status_code == 201, answer.text
        return answer.json()["drum"]["pressure"]["un_mark"]

    assert corrected("1A1/Y/100")["test_kpa"] == 100.0
    assert [c["holds"] for c in corrected("1A1/Y/100")["checks"]] == [False, True, True, False]
    assert corrected(None) is None
    body = event("corrected", event=first, void=False, data={"un_mark": "1A1"})
    assert "un_mark" in yard.send(tag, body).text


def test_a_receipt_that_is_sent_again_with_another_mark_is_another_receipt(yard):
    body = yard.drum(un_mark=MARK)
    first = yard.client.post(f"{API}/drums", json=body)
    again = yard.client.post(f"{API}/drums", json=body)
    other = yard.client.post(f"{API}/drums", json=body | {"un_mark": "1A1/Y1.4/250"})

    assert first.json()["tag"] == again.json()["tag"]
    check_problem(other, status=409)


def test_a_drum_filled_too_far_is_received_with_a_caution(yard, crew):
    # Full of liquid at 55 °C from 216.5 L × 1230 kg/m³/(1 + 35 × 6.5e-4) = 260.4 kg on
    full = yard.receive(net_kg=263.0)
    fine = yard.receive(net_kg=260.0)

    assert any(c.startswith("Too full") for c in full["readiness"]["cautions"])
    assert full["pressure"]["at_55_c_kpa"] is None
    assert full["pressure"]["most_net_kg_at_55_c"] == pytest.approx(260.37, abs=0.01)
    assert not any(c.startswith("Too full") for c in fine["readiness"]["cautions"])
    assert "Too full" in words_of(crew, full["tag"])


def test_topping_that_fills_it_too_far_is_recorded_with_a_caution(yard):
    tag, other = yard.receive(net_kg=250.0)["tag"], yard.receive()["tag"]
    topped = yard.record(tag, "topped", kg=13.0, **{"from": other})["drum"]

    assert topped["net_kg"] == pytest.approx(263.0)
    assert any(c.startswith("Too full") for c in topped["readiness"]["cautions"])


def test_more_than_the_brim_is_refused(yard):
    answer = yard.client.post(f"{API}/drums", json=yard.drum(net_kg=267.0))

    assert check_problem(answer, 422, "net_kg")["value"] == 267.0


def test_a_site_up_a_mountain_has_less_air_outside(yard):
    # ICAO standard atmosphere: 79.495 kPa at 2,000 m
    site = yard.client.post(f"{API}/sites", json=build.site(altitude_m=2000.0)).json()["code"]
    yard.client.post(f"{API}/places", json=build.place(site, code="hut", kind="warehouse"))
    told = yard.receive(place=f"{site}/hut", liquid_c=20.0)["pressure"]

    assert told["site_absolute_kpa"] == pytest.approx(79.495, rel=2e-4)
    assert told["likely_kpa"] == pytest.approx(0.0, abs=0.5)


def test_a_drum_sealed_down_here_gains_pressure_up_there(yard):
    site = yard.client.post(f"{API}/sites", json=build.site(altitude_m=2000.0)).json()["code"]
    yard.client.post(f"{API}/places", json=build.place(site, code="hut", kind="warehouse"))
    tag = yard.receive(liquid_c=18.0)["tag"]
    before = yard.get(tag)["pressure_kpa"]
    after = yard.record(tag, "moved", to=f"{site}/hut")["drum"]["pressure_kpa"]

    assert after - before == pytest.approx(101.325 - 79.495, abs=0.5)


def test_a_product_brings_its_own_agent(yard):
    own = {"name": "n-pentane of ours", "molar_mass": 72.149, "a": 5.99024, "b": 1071.032}
    own |= {"c": 232.739, "low_c": -20.0, "high_c": 60.0}
    body = build.product(code=build.fresh("resin"), side="resin", properties={"own_agent": own})
    made = yard.client.post(f"{API}/products", json=body)
    assert made.status_code == 201, made.text
    assert made.json()["in_force"]["properties"]["own_agent"]["name"] == "n-pentane of ours"

    yard.lot(body["code"], "L-9")
    told = yard.receive(product=body["code"], lot="L-9", liquid_c=20.0)["pressure"]
    # Raoult: x = (8/72.149)/(8/72.149 + 92/450) = 0.3517; × 185.359 kPa (CoolProp 8.0.0) at 55 °C
    assert told["agent_at_55_c_absolute_kpa"] == pytest.approx(0.3517 * 185.359, rel=0.002)
    assert any("n-pentane of ours" in line for line in told["said"])

    bad = body | {"code": build.fresh("resin"), "properties": {"own_agent": own | {"b": "many"}}}
    answer = yard.client.post(f"{API}/products", json=bad)
    assert check_problem(answer, 422, "properties.own_agent.b")["value"] == "many"


def test_an_open_drum_in_a_wet_warm_room_is_an_alarm_and_a_shut_one_a_caution(yard):
    # Air of 27 °C at 70 % (assumed) has its dew point at 21.1 °C; the liquid is at 15.
    room = yard.place("room")
    shut = yard.receive(place=room, liquid_c=15.0, at=ago(0.2))
    bare = yard.receive(place=room, liquid_c=15.0, at=ago(0.2))
    assert shut["pressure"]["dew_point"]["dew_c"] == pytest.approx(21.1, abs=0.1)
    assert shut["pressure"]["dew_point"]["humidity_assumed"] is True
    assert any("Keep it shut" in c for c in shut["readiness"]["cautions"])

    yard.record(bare["tag"], "opened", at=ago(0.1))
    yard.advance()
    alarms = yard.client.get(f"{API}/alarms", params={"state": "open"}).json()["items"]
    (alarm,) = [
        a
        for a in alarms
        if a["kind"] == "condensation" and a["cause"] == room and a["state"] != "normal"
    ]
    assert alarm["drums"] == [bare["tag"]]
    assert alarm["audience"] == ["crew", "manager"]


def test_a_deep_vacuum_is_an_alarm_of_low_priority(yard):
    drum = yard.receive(product=yard.resin, place=yard.place("van"), liquid_c=-2.0, at=ago(0.1))
    assert drum["pressure_kpa"] < -25.0
    yard.advance()
    alarms = yard.client.get(f"{API}/alarms", params={"state": "open"}).json()["items"]
    (alarm,) = [a for a in alarms if a["kind"] == "vacuum" and drum["tag"] in a["drums"]]

    assert alarm["priority"] == "low"
    assert any("vacuum" in c for c in drum["readiness"]["cautions"])


def test_the_page_shows_pressure_fill_mark_and_dew_point_with_their_cautions(yard, crew):
    tag = yard.receive(un_mark=MARK)["tag"]
    words = words_of(crew, tag)

    for part in (
        "Pressure, fill and moisture",
        "the air outside, computed",
        "as it is filled and sealed",
        "ADR and IMDG allow",
        "drum of steel, closed head",
        "within two thirds of the test pressure",
        "The mark is no limit to work by",
        "70 % humidity, assumed",
    ):
        assert part in words
    assert "psi" in words
