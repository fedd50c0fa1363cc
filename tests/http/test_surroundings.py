"""What surrounds a drum, over HTTP: wind, sun and crowding of its place; heaters and blankets."""

import time

import pytest

from tests.builders import catalogue
from tests.builders.stock import ago, event
from tests.fixtures.html import Page
from tests.fixtures.people import signed_in
from tests.fixtures.serving import serving
from tests.fixtures.yard import API, yard

__all__ = ["serving", "yard"]


@pytest.fixture
def tag(yard):
    """Give a warm drum that has stood for half a day on the dock, in colder air."""
    return yard.receive(place=yard.place("dock"), at=ago(12.0), liquid_c=35.0)["tag"]


@pytest.fixture
def calm(yard):
    """Put the dock back as it was."""
    before = yard.client.get(f"{API}/places/{yard.place('dock')}").json()
    yield
    names = ("motion", "wind_m_s", "standing", "crowding", "sun", "absorptance")
    changes = {name: before[name] for name in names}
    assert yard.client.patch(f"{API}/places/{yard.place('dock')}", json=changes).status_code == 200


def said(answer):
    return " ".join(answer["drum"]["readiness"]["cautions"])


def mean_c(yard, tag):
    return yard.get(tag)["estimate"]["mean_c"]


@pytest.mark.usefixtures("calm")
def test_the_page_of_a_place_says_how_drums_stand_and_changes_it_by_a_form_alone(yard, serving):
    path = f"/places/{yard.place('dock')}"
    with signed_in(serving, "manager") as mara:
        assert "moving" in mara.get(path).words
        filled = mara.fill(
            path, f"{path}/setting", motion="windy", wind="20", crowding="four", sun="yes"
        )
        assert mara.send(filled).status_code == 303
        words = mara.get(path).words
        for part in ("windy, 20 mph", "four on a pallet", "in the sun"):
            assert part in words
    place = yard.client.get(f"{API}/places/{yard.place('dock')}").json()
    # 1 mph is 0.44704 m/s, exactly
    assert place["wind_m_s"] == pytest.approx(8.9408)
    assert (place["crowding"], place["sun"]) == ("four", True)

    with signed_in(serving, "manager", units="si") as sven:
        assert "windy, 8.94 m/s" in sven.get(path).words
        refused = sven.send(sven.fill(path, f"{path}/setting", motion="still", wind="3"))
        assert refused.status_code == 422
        assert "Wind at the drums" in Page(refused.text).words


def test_only_who_keeps_the_catalogue_changes_how_drums_stand(yard, serving):
    path = f"/places/{yard.place('dock')}"
    with signed_in(serving, "crew") as crew:
        page = crew.get(path)
        assert "How drums stand here" in page.words
        assert not [form for form in page.forms if form.action.endswith("/setting")]
        body = {"csrf": crew.csrf(), "motion": "windy", "standing": "slab", "crowding": "alone"}
        assert crew.client.post(f"{path}/setting", data=body).status_code == 403


def test_a_place_under_a_roof_offers_no_sun(yard, serving):
    path = f"/places/{yard.place('hall')}"
    with signed_in(serving, "manager") as mara:
        form = mara.get(path).form(f"{path}/setting")

    assert "absorptance" not in form.fields


def test_a_heater_on_record_warms_the_drum_and_brings_its_cautions(yard):
    plain = yard.receive(at=ago(12.0), liquid_c=12.0)["tag"]
    heated = yard.receive(at=ago(12.0), liquid_c=12.0)["tag"]
    heater = {"device": "base", "watts": 600.0, "until": ago(-1.0)}
    answer = yard.record(heated, "heated", at=ago(8.0), **heater)

    # by hand: 0.9·600 W for 8 h into 250 kg of iso (465 kJ/K with its steel) is 33 K at most
    assert mean_c(yard, plain) + 15.0 < mean_c(yard, heated) < mean_c(yard, plain) + 34.0
    cautions = said(answer)
    assert "small bung vented" in cautions
    assert "relieved under dry gas" in cautions
    assert "No thermostat is on record" in cautions


def test_a_thermostat_above_the_products_maximum_is_cautioned_and_one_below_is_not(yard):
    tag = yard.receive(at=ago(2.0), liquid_c=12.0)["tag"]
    band = {"device": "band", "watts": 800.0, "until": ago(-1.0), "height_m": 0.3}
    hot = yard.record(tag, "heated", at=ago(1.0), thermostat_c=60.0, **band)
    fit = yard.record(tag, "heated", at=ago(0.5), thermostat_c=35.0, **band)

    assert "turn it down" in said(hot)
    assert "turn it down" not in said(fit)
    assert "below the liquid level" in said(fit)


def test_a_band_above_the_liquid_is_refused_with_its_height_and_where_it_may_be(yard):
    tag = yard.receive(at=ago(2.0), liquid_c=12.0, net_kg=60.0)["tag"]
    body = {"device": "band", "watts": 800.0, "until": ago(-1.0), "height_m": 0.5}
    answer = yard.send(tag, event("heated", at=ago(1.0), **body))

    (fault,) = answer.json()["errors"]
    assert answer.status_code == 422
    assert (fault["field"], fault["value"]) == ("height_m", 0.5)
    assert "0.19 m" in fault["problem"]
    assert "lower" in fault["mend"]


def test_a_flame_on_a_drum_is_refused_with_its_words_and_what_to_do(yard, tag):
    body = {"device": "propane torch", "watts": 800.0, "until": ago(-1.0)}
    answer = yard.send(tag, event("heated", at=ago(1.0), **body))

    (fault,) = answer.json()["errors"]
    assert answer.status_code == 422
    assert (fault["field"], fault["value"]) == ("device", "propane torch")
    assert "keep away" in fault["mend"]


def test_liquid_over_its_maximum_is_told_of(yard):
    hot = yard.receive(at=ago(1.0), liquid_c=85.0)["tag"]
    readiness = yard.get(hot)["readiness"]

    assert "over the product's maximum" in " ".join(readiness["reasons"])
    assert "Stop heating" in " ".join(readiness["cautions"])


def test_a_blanket_keeps_a_drum_warmer_than_its_neighbour(yard, tag):
    wrapped = yard.receive(place=yard.place("dock"), at=ago(12.0), liquid_c=35.0)["tag"]
    blanket = {"device": "blanket", "watts": 0.0, "until": ago(-1.0), "blanket_r_m2k_w": 1.0}
    yard.record(wrapped, "heated", at=ago(11.9), **blanket)

    assert mean_c(yard, wrapped) > mean_c(yard, tag) + 3.0


@pytest.mark.usefixtures("calm")
def test_wind_told_of_a_place_later_changes_the_past_of_its_drums(yard, tag):
    before = mean_c(yard, tag)
    told = {"motion": "windy", "wind_m_s": 20.0}
    dock = f"{API}/places/{yard.place('dock')}"
    assert yard.client.patch(dock, json=told).status_code == 200
    yard.advance()

    assert mean_c(yard, tag) < before - 0.5


def sun_sensor(yard, place):
    return catalogue.sensor(
        quantity="irradiance",
        interval_s=300,
        mount={"what": "sun", "place": yard.place(place), "since": ago(24.0)},
    )


def shine(yard, name, level, *, hours=11.0):
    now = int(time.time())  # noqa: TID251 - the real service reads the real clock
    # the sun never stands still: no two readings alike
    pack = [
        {"n": name, "u": "W/m2", "t": now - 300 * i, "v": level - 0.1 * i}
        for i in range(int(hours * 12))
    ]
    return yard.client.post(
        f"{API}/readings", json=pack, headers={"Content-Type": "application/senml+json"}
    )


def take_down(yard, name):
    """Take a sun sensor down as if it had not hung: the dock's other drums see the same past."""
    gone = yard.client.patch(f"{API}/sensors/{name}", json={"unmounted_at": ago(23.9)})
    assert gone.status_code == 200, gone.text


def test_a_dark_drum_in_measured_sun_is_warmer_than_without(yard):
    tag = yard.receive(place=yard.place("dock"), at=ago(12.0), liquid_c=10.0)["tag"]
    without = mean_c(yard, tag)
    made = yard.client.post(f"{API}/sensors", json=sun_sensor(yard, "dock"))
    assert made.status_code == 201, made.text
    name = made.json()["name"]

    assert shine(yard, name, 800.0).is_success
    yard.advance()
    lit = mean_c(yard, tag)
    take_down(yard, name)
    yard.advance()

    # By hand: at 20 W/(m² K) the side faces 0.9·0.45·800/20 = 16 K more than the air, the lid twice
    # that; over 11 h a drum with a time constant of some 20 h takes up a third.
    assert lit > without + 3.0
    assert mean_c(yard, tag) == pytest.approx(without, abs=0.1)


def test_the_sensors_page_and_the_reasons_tell_of_the_sun(yard, serving):
    tag = yard.receive(place=yard.place("dock"), at=ago(12.0), liquid_c=10.0)["tag"]
    name = yard.client.post(f"{API}/sensors", json=sun_sensor(yard, "dock")).json()["name"]
    shine(yard, name, 420.0)
    yard.advance()
    with signed_in(serving, "viewer") as vera:
        words = vera.get("/sensors").words
        assert "420 W/m²" in words
        assert "0.5 W/m²" in words
        assert "420 W/m²" in vera.get(f"/drums/{tag}/why").words
    told = yard.client.get(f"{API}/drums/{tag}/why").text
    assert name in told
    take_down(yard, name)


@pytest.mark.parametrize("value", [1501.0, -21.0])
def test_more_than_the_sun_can_be_is_refused(yard, value):
    name = yard.client.post(f"{API}/sensors", json=sun_sensor(yard, "dock")).json()["name"]

    answer = shine(yard, name, value, hours=1 / 12)

    assert "-20 to 1500 W/m2" in answer.text
    take_down(yard, name)


def test_no_sun_is_measured_under_a_roof_nor_by_a_thermometer(yard):
    roofed = yard.client.post(f"{API}/sensors", json=sun_sensor(yard, "hall"))
    wrong = yard.client.post(
        f"{API}/sensors", json=sun_sensor(yard, "dock") | {"quantity": "temperature"}
    )

    for answer, field in ((roofed, "mount.place"), (wrong, "mount.what")):
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["field"] == field
