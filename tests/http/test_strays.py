"""Sensors that nobody has registered: heard, listed, adopted and forgotten, by API and by page."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.domain.grid import to_ms
from drumkeep.domain.readings import ArrivedPack, GatewayKey, Reading
from drumkeep.domain.roles import Role
from drumkeep.domain.sensors import Quantity
from drumkeep.operations.readings import record_batch
from drumkeep.storage.transaction import transaction
from tests.builders import catalogue as build
from tests.fixtures.people import signed_in
from tests.fixtures.serving import manager, nobody, serving

__all__ = ["manager", "nobody", "serving"]
API = "/api/v1"
NOW = datetime.now(UTC)  # noqa: TID251 - readings must be recent to be taken


@pytest.fixture
def heard(manager):
    """Send three readings of a sensor that nobody registered; return its name."""
    name = build.sensor()["name"]
    times = [(NOW - timedelta(minutes=10 * i)).timestamp() for i in (3, 2, 1)]
    pack = [{"n": name, "u": "Cel", "v": 20 + i, "t": t} for i, t in enumerate(times)]
    kind = {"Content-Type": "application/senml+json"}
    answer = manager.post(f"{API}/readings", content=json.dumps(pack), headers=kind)
    assert answer.status_code < 500, answer.text
    return name


@pytest.fixture
def place(manager):
    site = manager.post(f"{API}/sites", json=build.site()).json()["code"]
    return manager.post(f"{API}/places", json=build.place(site)).json()["place"]


def stray(manager, name):
    found = {one["name"]: one for one in manager.get(f"{API}/strays").json()}
    return found.get(name)


def test_the_list_tells_what_was_heard(manager, heard):
    found = stray(manager, heard)

    assert (found["quantity"], found["heard"], found["kept"]) == ("temperature", 3, 3)
    assert found["last_value"] == 22
    assert found["gateway"] is None
    assert found["first_at"] < found["last_at"] <= found["last_heard_at"]


def test_a_manager_adopts_it_on_the_page_with_its_history(serving, manager, heard, place):
    address = f"/strays/{stray(manager, heard)['id']}/adopt"
    with signed_in(serving, "manager") as person:
        page = person.get("/sensors")
        assert heard in page.words
        assert "3 readings kept" in page.words
        assert "72 °F" in page.words  # 22 °C

        answer = person.send(person.fill("/sensors", address, what="air", place=place))
        assert answer.status_code == 303, answer.text
        with serving.client() as other:
            assert other.post(address).headers["Location"].startswith("/sign-in")
    assert stray(manager, heard) is None
    sensor = manager.get(f"{API}/sensors/{heard}").json()
    assert sensor["interval_s"] == 600
    (hung,) = sensor["mounts"]
    assert (hung["place"], hung["what"]) == (place, "air")
    assert abs(datetime.fromisoformat(hung["since"]) - (NOW - timedelta(minutes=30))) < (
        timedelta(seconds=1)
    )
    with serving.engine.connect() as connection:
        stored = connection.exec_driver_sql(
            f"SELECT count(*) FROM reading JOIN sensor ON id = sensor_id WHERE name = '{heard}'"  # noqa: S608
        ).scalar_one()
    assert stored == 3


def test_the_form_says_what_is_wrong_by_its_own_labels(serving, manager, heard, place):
    address = f"/strays/{stray(manager, heard)['id']}/adopt"
    with signed_in(serving, "manager") as person:
        missing = person.send(person.fill("/sensors", address, what="skin", place=place))
        ahead = (NOW + timedelta(days=3)).strftime("%Y-%m-%dT%H:%M")
        late = person.send(person.fill("/sensors", address, what="air", place=place, since=ahead))

    assert missing.status_code == 422
    assert "On the drum" in missing.text
    assert late.status_code == 422
    assert "Since" in late.text
    assert stray(manager, heard) is not None


def test_forgotten_it_is_no_longer_listed(serving, manager, heard):
    address = f"/strays/{stray(manager, heard)['id']}/forget"
    with signed_in(serving, "manager") as person:
        assert person.send(person.fill("/sensors", address)).status_code == 303
        assert person.client.post(address, data={"csrf": person.csrf()}).status_code == 404

    assert stray(manager, heard) is None


@pytest.mark.parametrize("role", set(Role) - {Role.MANAGER})
def test_others_see_it_and_may_do_nothing(serving, manager, heard, role):
    number = stray(manager, heard)["id"]
    with serving.client(role) as client:
        assert client.delete(f"{API}/strays/{number}").status_code == 403
    with signed_in(serving, role) as person:
        page = person.get("/sensors")
        assert heard in page.words
        assert f"/strays/{number}/adopt" not in {form.action for form in page.forms}
        posted = {"csrf": person.csrf()}
        assert person.client.post(f"/strays/{number}/forget", data=posted).status_code == 403


def test_a_sensor_heard_by_another_gateway_is_shown_with_both_and_taken_from_there(
    serving, manager, place
):
    site = place.split("/")[0]
    codes = [
        manager.post(f"{API}/gateways", json=build.gateway(site)).json()["gateway"]
        for _ in range(2)
    ]
    name = manager.post(f"{API}/sensors", json=build.sensor(gateway=codes[0])).json()["name"]
    with transaction(serving.engine) as tx:
        record_batch(tx, packs=[arrived(name, gateway=codes[1])], now=NOW)
    with signed_in(serving, "manager") as person:
        page = person.get("/sensors").words
        assert f"registered with gateway {codes[0]}" in page
        address = f"/strays/{stray(manager, name)['id']}/adopt"
        answer = person.send(person.fill("/sensors", address))
        assert answer.status_code == 303, answer.text
    assert manager.get(f"{API}/sensors/{name}").json()["gateway"] == codes[1]
    assert stray(manager, name) is None


def arrived(name, *, gateway):
    taken = Reading(name, Quantity.TEMPERATURE, to_ms(NOW), 7.0, 0)
    return ArrivedPack(
        source="test",
        gateway=GatewayKey(*gateway.split("/")),
        readings=(taken,),
        rejections=(),
        spool=None,
        prefix=b"",
        size=0,
    )
