"""Batteries and signals on the pages, with the gateway or sensor that they are of."""

import time

import pytest

from tests.builders import catalogue
from tests.builders.stock import ago
from tests.fixtures.people import signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import API, Yard, yard

__all__ = ["manager", "serving", "yard"]

PROBE = "urn:dev:os:32473-lean-to"
MINUS = "\N{MINUS SIGN}"


def publish(yard: Yard, name: str, unit: str, *values: float) -> None:
    """Send values ten minutes apart, the last of them now."""
    now = int(time.time())  # noqa: TID251 - the real service reads the real clock
    pack = [
        {"n": name, "u": unit, "t": now - 600 * i, "v": value}
        for i, value in enumerate(reversed(values))
    ]
    answer = yard.client.post(
        f"{API}/readings", json=pack, headers={"Content-Type": "application/senml+json"}
    )
    assert answer.is_success, answer.text


@pytest.fixture(scope="module")
def gateway(yard: Yard) -> dict[str, str]:
    """Have a gateway and a sensor in a lean-to, with a drum beside it, say how they fare."""
    client = yard.client
    made: dict[str, str] = client.post(f"{API}/gateways", json=catalogue.gateway(yard.site)).json()
    place = catalogue.place(yard.site, code="lean-to", name="Lean-to")
    assert client.post(f"{API}/places", json=place).status_code == 201
    reference = f"{made['site']}/{made['code']}"
    hung = {"what": "air", "place": yard.place("lean-to"), "since": ago(24.0)}
    sensors: tuple[tuple[str, str, dict[str, str] | None], ...] = (
        (f"{PROBE}:temp", "temperature", hung),
        (f"{PROBE}:signal", "signal", None),
        (f"{PROBE}:supply", "voltage", None),
        (f"{made['urn']}:battery", "battery", None),
    )
    for name, quantity, mount in sensors:
        sent = catalogue.sensor(name=name, quantity=quantity, gateway=reference, mount=mount)
        answer = client.post(f"{API}/sensors", json=sent)
        assert answer.status_code == 201, answer.text
    publish(yard, f"{PROBE}:temp", "Cel", 14.0, 14.5)
    publish(yard, f"{PROBE}:signal", "dBm", -84.0, -81.0, -83.0)
    publish(yard, f"{PROBE}:supply", "mV", 2940.0, 2930.0)
    publish(yard, f"{made['urn']}:battery", "%EL", 23.0, 14.0)
    yard.advance()
    return made


def test_they_stand_with_the_sensor_or_gateway_that_they_are_of(serving, gateway):
    with signed_in(serving, "viewer") as person:
        sensors, gateways = person.get("/sensors"), person.get("/gateways")
        drawn = person.client.get("/sensors").text

    assert f"Signal {MINUS}83 dBm, weak" in sensors.words
    assert "Voltage 2.93 V" in sensors.words
    assert "Voltage of the sensor of Lean-to" in sensors.words
    assert f"Battery of gateway {gateway['code']}" in sensors.words
    assert f"last 24 hours {MINUS}84 dBm to {MINUS}81 dBm" in drawn
    assert "Battery 14 %, low" in gateways.words


def test_a_low_battery_is_an_alarm_for_the_manager(yard, gateway):
    alarms = yard.client.get(f"{API}/alarms", params={"limit": 200}).json()["items"]
    (low,) = [alarm for alarm in alarms if alarm["kind"] == "battery_low"]

    assert low["cause"] == f"{gateway['urn']}:battery"
    assert low["audience"] == ["manager"]
    assert f"Change the battery of gateway {gateway['code']}: 14 % left" in low["message"]


def test_a_battery_is_hung_nowhere(yard, gateway):
    answer = yard.client.patch(
        f"{API}/sensors/{gateway['urn']}:battery",
        json={"mount": {"what": "air", "place": yard.place("lean-to")}},
    )

    assert answer.status_code == 422, answer.text
    assert "is of the device itself" in answer.json()["errors"][0]["problem"]


def test_what_nobody_registered_is_adopted_without_a_place(serving, yard, gateway):
    name = f"{gateway['urn']}:wifi"
    publish(yard, name, "dBW", -90.0)
    strays = {one["name"]: one["id"] for one in yard.client.get(f"{API}/strays").json()}
    with signed_in(serving, "manager") as person:
        assert f"{MINUS}60 dBm" in person.get("/sensors").words
        answer = person.send(person.fill("/sensors", f"/strays/{strays[name]}/adopt"))

    assert answer.status_code == 303, answer.text
    sensor = yard.client.get(f"{API}/sensors/{name}").json()
    assert (sensor["quantity"], sensor["unit"], sensor["mounts"]) == ("signal", "dBW", [])
