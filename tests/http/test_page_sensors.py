"""Sensors over HTTP: what the page and the API say of those that are silent or doubted."""

import math
import time
from collections.abc import Callable, Iterator

import pytest

from tests.builders import catalogue
from tests.builders.stock import ago
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import API, Yard, yard

__all__ = ["manager", "serving", "yard"]

STEP_S = 300


def swing(hours: float) -> float:
    """Air of a loft, °C, at hours from now."""
    return round(14.0 + 5.0 * math.sin(hours * math.pi / 12.0), 2)


def publish(yard: Yard, name: str, curve: Callable[[float], float], *, unit: str = "Cel") -> None:
    """Send three days of readings along a curve of hours from now, the last of them now."""
    now = int(time.time())  # noqa: TID251 - the real service reads the real clock
    count = 72 * 12
    pack = [
        {"n": name, "u": unit, "t": now - STEP_S * i, "v": curve(-STEP_S * i / 3600.0)}
        for i in range(count, -1, -1)
    ]
    answer = yard.client.post(
        f"{API}/readings", json=pack, headers={"Content-Type": "application/senml+json"}
    )
    assert answer.is_success, answer.text


@pytest.fixture(scope="module")
def loft(yard) -> dict[str, str]:
    """Return names of sensors by what is the matter with them; all but one hang in a loft."""
    client = yard.client
    loft = client.post(f"{API}/places", json=catalogue.place(yard.site, code="loft", name="Loft"))
    assert loft.status_code == 201, loft.text
    names = {}

    def hang(what_is_wrong: str, mount: dict[str, str], **more: object) -> str:
        sent = catalogue.sensor(mount={"since": ago(24.0 * 10), **mount}, interval_s=STEP_S, **more)
        answer = client.post(f"{API}/sensors", json=sent)
        assert answer.status_code == 201, answer.text
        name: str = answer.json()["name"]
        names[what_is_wrong] = name
        return name

    place = {"what": "air", "place": yard.place("loft")}
    publish(yard, hang("sound", place), swing)
    publish(yard, hang("stuck", place), lambda h: swing(min(h, -14.0)))
    calibration = {"gain": 1.0, "offset": -0.5, "since": ago(24.0 * 9)}
    publish(
        yard,
        hang("wild", place, calibration=calibration),
        lambda h: 85.0 if h > -1.0 else swing(h) + 0.5,
    )
    damp = hang(
        "damp", {"what": "humidity", "place": yard.place("loft")}, quantity="humidity", unit="%RH"
    )
    publish(yard, damp, lambda h: 60.0 + round(h / 10.0), unit="%RH")
    tag = yard.receive(place=yard.place("loft"), liquid_c=14.0)["tag"]
    names["tag"] = tag
    publish(yard, hang("strap", {"what": "skin", "drum": tag}), lambda h: 14.0 + h / 100.0)
    cellar = catalogue.place(yard.site, code="cellar", name="Cellar")
    assert client.post(f"{API}/places", json=cellar).status_code == 201
    alone = {"what": "air", "place": yard.place("cellar")}
    publish(yard, hang("stuck alone", alone), lambda h: swing(min(h, -14.0)))
    # so long ago that what was measured then no longer vouches for it
    received = yard.receive(place=yard.place("cellar"), liquid_c=14.0, at=ago(5.0))
    names["cellar tag"] = received["tag"]
    hang("mute", place)
    hang("loose", place)
    taken = client.patch(f"{API}/sensors/{names['loose']}", json={"mount": None})
    assert taken.status_code == 200, taken.text
    yard.advance()
    return names


@pytest.fixture(scope="module")
def boss(serving) -> Iterator[Person]:
    with signed_in(serving, "manager") as person:
        yield person


def doubts(yard: Yard, name: str) -> list[dict[str, str | None]]:
    """Return what the API says that a sensor is doubted for."""
    found: list[dict[str, str | None]] = yard.client.get(f"{API}/sensors/{name}").json()["doubts"]
    return found


def test_the_api_says_what_a_sensor_is_doubted_for_and_since_when(yard, loft):
    # before it was known to be stuck it stood apart from the other two
    apart, stuck = doubts(yard, loft["stuck"])
    (wild,) = doubts(yard, loft["wild"])

    assert apart["reason"] == "apart"
    assert apart["until"] is not None
    assert (stuck["reason"], stuck["until"]) == ("stuck", None)
    assert f"{swing(-14.0):.1f} °C without a change" in str(stuck["words"])
    # six hours after it stood still, as one beside it moved
    assert ago(8.1) < str(stuck["since"]) < ago(7.8)
    assert (wild["reason"], wild["until"]) == ("range", None)
    assert "84.5 °C" in str(wild["words"])
    for name in ("sound", "damp", "strap", "mute", "loose"):
        assert doubts(yard, loft[name]) == []


def test_a_list_of_sensors_has_their_doubts_too(yard, loft):
    listed = yard.client.get(f"{API}/sensors", params={"place": yard.place("loft")}).json()["items"]
    told = {item["name"]: [d["reason"] for d in item["doubts"]] for item in listed}

    assert told[loft["stuck"]] == ["apart", "stuck"]
    assert told[loft["wild"]] == ["range"]
    assert told[loft["sound"]] == []


def test_each_doubted_sensor_is_one_alarm_for_the_manager(yard, loft):
    alarms = yard.client.get(f"{API}/alarms", params={"limit": 200}).json()["items"]
    kinds = {alarm["cause"]: alarm["kind"] for alarm in alarms}

    assert kinds[loft["stuck"]] == "sensor_stuck"
    assert kinds[loft["wild"]] == "sensor_implausible"
    assert kinds[loft["mute"]] == "sensor_silent"
    assert loft["sound"] not in kinds
    (stuck,) = (alarm for alarm in alarms if alarm["cause"] == loft["stuck"])
    assert stuck["drums"] == [loft["tag"]]
    assert "The other sensors there are believed meanwhile." in stuck["message"]
    assert yard.get(loft["tag"])["estimate"]["basis"] != "unsupported"


def test_drums_beside_the_only_sensor_that_is_stuck_are_not_known(yard, loft):
    drum = yard.get(loft["cellar tag"])
    (alarm,) = (
        alarm
        for alarm in yard.client.get(f"{API}/alarms", params={"limit": 200}).json()["items"]
        if alarm["cause"] == loft["stuck alone"]
    )

    assert drum["estimate"]["basis"] == "unsupported"
    assert (alarm["kind"], alarm["priority"], alarm["audience"]) == (
        "sensor_stuck",
        "medium",
        ["manager"],
    )
    assert alarm["drums"] == [loft["cellar tag"]]
    assert "Its drums are not known meanwhile: dip before use." in alarm["message"]


def test_the_page_tells_the_same_in_words_with_what_needs_somebody_first(boss, yard, loft):
    text = boss.client.get("/sensors").text
    words = Page(text).words
    section = text[text.index(f'id="sensors-{yard.place("loft")}"') :]

    assert "without a change for too long" in words
    assert "which air cannot be" in words
    assert "Nothing ever heard since" in words
    assert "less 0.9 °F" in words  # half a kelvin
    # 60 %RH now and less before
    assert "60 %" in words
    assert "58 to 60 % in the last 24 hours" in words
    assert f'href="/drums/{loft["tag"]}"' in section
    assert section.index(f'more-{loft["stuck"]}"') < section.index(f'more-{loft["sound"]}"')
    assert "Hanging nowhere" in words
    assert loft["loose"] in words


def test_each_line_says_in_words_what_it_shows(boss, loft):
    text = boss.client.get("/sensors").text.replace("\N{NO-BREAK SPACE}", " ")

    # what cannot be is left out of the line, or it would flatten the rest
    for name in (loft["sound"], loft["wild"]):
        number = name.split("-")[-1].removesuffix(":temp")  # tells it from the others of the loft
        told = f"Air {number} at Loft: last 24 hours 48 °F to 66 °F."
        assert f'id="air-{name}">{told}' in text
        assert f'<h3>Air <span class="quiet">{number}</span>' in text
    assert f'id="air-{loft["damp"]}"' not in text


@pytest.mark.usefixtures("loft")
def test_the_page_is_one_of_the_navigation_and_keeps_to_the_persons_units(boss):
    page = Page(boss.client.get("/sensors").text)

    assert {"href": "/sensors", "aria-current": "page"} in page.all("a")
    assert f"{swing(-14.0) * 1.8 + 32.0:.0f} °F" in page.words
    assert "°C" not in page.words.replace("Show °C and kg", "").replace("°C, kg", "")
