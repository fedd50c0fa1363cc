"""Drums that nobody measured at receipt: told of at once, and never as known, over real HTTP."""

import pytest

from tests.builders import catalogue
from tests.builders.stock import ago
from tests.fixtures.serving import serving
from tests.fixtures.yard import API, yard

__all__ = ["serving", "yard"]


def test_a_drum_off_a_truck_is_not_known_however_steady_the_dock(yard):
    told = yard.receive(at=ago(1.0), liquid_c=None)
    tag, estimate, readiness = told["tag"], told["estimate"], told["readiness"]

    assert (estimate["basis"], readiness["state"]) == ("unsupported", "unknown")
    assert estimate["low_c"] < -15.0  # an unheated truck in winter
    assert estimate["mean_c"] == pytest.approx(9.0, abs=1.5)  # the dock's air, towards the hall's
    assert "Nobody measured it since it came" in readiness["reasons"][0]
    assert told["conditions"] == ["seeding_risk"]
    page = yard.client.get(f"{API}/drums/{tag}/why").json()["start"]
    assert (page["told_by"], page["origin"], page["counts_as_known"]) == ("air", "Dock", False)


def test_a_skin_reading_and_dips_that_agree_with_it_are_all_used(yard):
    tag = yard.receive(at=ago(1.5), liquid_c=None)["tag"]
    skin = yard.record(tag, "skin", c=17.8, at=ago(1.4))
    dips = [yard.record(tag, "dipped", c=c, at=ago(h)) for c, h in ((17.2, 0.4), (17.8, 0.2))]

    assert [one["event"]["met"]["use"] for one in (skin, *dips)] == ["used"] * 3
    known = dips[-1]["drum"]["estimate"]
    assert known["basis"] == "measured"
    assert known["mean_c"] == pytest.approx(17.5, abs=0.6)


def test_at_a_site_without_a_dock_it_is_computed_at_once_from_the_air_where_it_stands(yard):
    client = yard.client
    site = client.post(f"{API}/sites", json=catalogue.site()).json()["code"]
    heard, blind = (
        f"{site}/{client.post(f'{API}/places', json=catalogue.place(site)).json()['code']}"
        for _ in range(2)
    )
    mount = {"what": "air", "place": heard, "since": ago(24.0 * 30)}
    sensor = client.post(f"{API}/sensors", json=catalogue.sensor(mount=mount, interval_s=900))
    yard.sensors["elsewhere"] = sensor.json()["name"]
    yard.publish("elsewhere", c=23.0, first_h=60.0)

    told = yard.receive(at=ago(1.0), liquid_c=None, place=heard)
    assert told["estimate"]["basis"] == "unsupported"
    assert told["estimate"]["mean_c"] == pytest.approx(23.0, abs=0.5)
    assert told["estimate"]["low_c"] < -15.0

    unheard = yard.receive(at=ago(1.0), liquid_c=None, place=blind)
    assert unheard["estimate"] is None
    assert "no air was on record" in unheard["readiness"]["reasons"][0]
    page = client.get(f"{API}/drums/{unheard['tag']}/why").json()["start"]
    assert (page["told_by"], page["counts_as_known"]) == ("nothing", False)
