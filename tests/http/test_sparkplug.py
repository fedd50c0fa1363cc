"""Sparkplug groups: tried, had read and let go, by API and by page."""

import base64

import pytest

from drumkeep.domain.roles import Role
from tests.builders import catalogue as build
from tests.builders.sparkplug import metric, payload
from tests.fixtures.people import signed_in
from tests.fixtures.serving import manager, nobody, serving

__all__ = ["manager", "nobody", "serving"]
API = "/api/v1"
FLOAT = 9
BIRTH = payload(None, metric("Temp", 77.0, time_ms=None, datatype=FLOAT, engUnit="°F"), seq=0)
BARE = payload(None, metric("Temp", 77.0, time_ms=None, datatype=FLOAT), seq=0)


@pytest.fixture
def gateway(manager):
    site = manager.post(f"{API}/sites", json=build.site()).json()["code"]
    return manager.post(f"{API}/gateways", json=build.gateway(site)).json()


def group(gateway, **more):
    return {"group": build.fresh("Shed"), "gateway": gateway["gateway"]} | more


def trial(octets, *, kind="DBIRTH"):
    return {"sample_topic": f"spBv1.0/Shed/{kind}/edge-1/dryer", "sample": octets}


@pytest.mark.parametrize("text", [BIRTH.hex(), f"0x{BIRTH.hex().upper()}", base64.b64encode(BIRTH)])
def test_a_sample_in_hex_or_base64_shows_what_it_would_become(manager, gateway, text):
    sample = text if isinstance(text, str) else text.decode()
    answer = manager.post(f"{API}/sparkplug/try", json=group(gateway) | trial(sample))

    assert answer.status_code == 200, answer.text
    (found,) = answer.json()["readings"]
    assert found["name"] == f"{gateway['urn']}:edge-1/dryer/Temp"
    assert (found["value"], found["quantity"]) == (25, "temperature")
    assert manager.get(f"{API}/strays").json() == []


def test_a_sample_without_its_unit_says_so_until_a_pattern_gives_it(manager, gateway):
    told = manager.post(f"{API}/sparkplug/try", json=group(gateway) | trial(BARE.hex())).json()
    assert [one["problem"] for one in told["rejections"]] == ["says no unit"]

    units = {"units": [{"pattern": "dryer/*", "unit": "F"}]}
    told = manager.post(f"{API}/sparkplug/try", json=group(gateway, **units) | trial(BARE.hex()))
    assert [one["value"] for one in told.json()["readings"]] == [25]


@pytest.mark.parametrize(
    ("sample", "problem"),
    [
        (trial("ff"), "is no Sparkplug B payload"),
        (trial(BIRTH.hex(), kind="DCMD"), "is no topic of readings"),
        (
            trial(payload(None, metric(None, 1.0, time_ms=None, alias=4)).hex(), kind="DDATA"),
            "was in no birth that is known",
        ),
    ],
)
def test_a_sample_that_is_no_reading_is_told_why(manager, gateway, sample, problem):
    told = manager.post(f"{API}/sparkplug/try", json=group(gateway) | sample).json()

    assert [one["problem"] for one in told["rejections"]] == [problem]


def test_a_group_is_had_read_listed_and_let_go(manager, gateway):
    body = group(gateway, units=[{"pattern": "*", "unit": "C"}], asks=False)
    made = manager.post(f"{API}/sparkplug", json=body)
    assert made.status_code == 201, made.text
    assert made.json() == body | {"id": made.json()["id"], "node": "", "nodes": []}
    assert manager.get(made.headers["Location"]).json() == made.json()
    assert made.json() in manager.get(f"{API}/sparkplug").json()
    assert manager.post(f"{API}/sparkplug", json=body).status_code == 409

    assert manager.delete(made.headers["Location"]).status_code == 204
    assert manager.get(made.headers["Location"]).status_code == 404
    assert manager.delete(f"{API}/sparkplug/{2**70}").status_code == 404


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"group": "a/b"}, "group"),
        ({"node": "#"}, "node"),
        ({"gateway": "nowhere/none"}, "gateway"),
        ({"units": [{"pattern": "*", "unit": "rpm"}]}, "units"),
        ({"sample": "zz!"}, "sample"),
    ],
)
def test_what_cannot_be_read_is_refused_by_field(manager, gateway, wrong, field):
    answer = manager.post(f"{API}/sparkplug/try", json=group(gateway) | trial(BIRTH.hex()) | wrong)

    assert answer.status_code == 422
    assert [fault["field"] for fault in answer.json()["errors"]] == [field]


@pytest.mark.parametrize("role", set(Role) - {Role.MANAGER})
def test_only_a_manager_has_groups_read(serving, gateway, role):
    with serving.client(role) as client:
        assert client.post(f"{API}/sparkplug", json=group(gateway)).status_code == 403
        assert client.delete(f"{API}/sparkplug/1").status_code == 403
    with signed_in(serving, role) as person:
        assert "Try a group" not in person.get("/sparkplug").words
        posted = {"csrf": person.csrf(), "do": "try"}
        assert person.client.post("/sparkplug", data=posted).status_code == 403


def test_the_page_tries_a_sample_in_the_persons_units_then_has_the_group_read(
    serving, manager, gateway
):
    name = build.fresh("Shed")
    given = {"group": name, "gateway": gateway["gateway"]}
    with signed_in(serving, "manager") as person:
        assert "Sparkplug devices" in person.get("/mappings").words
        tried = person.send(
            person.fill("/sparkplug", "/sparkplug", do="try", **given, **trial(BIRTH.hex()))
        )
        assert tried.status_code == 200
        assert f"{gateway['urn']}:edge-1/dryer/Temp" in tried.text
        assert "77 °F" in tried.text.replace("\xa0", " ")

        wrong = person.fill("/sparkplug", "/sparkplug", do="keep", **given, units="*temp*")
        refused = person.send(wrong)
        assert refused.status_code == 422
        assert "has no unit" in refused.text
        assert "*temp*" in refused.text  # the form still holds what was typed

        keep = person.fill("/sparkplug", "/sparkplug", do="keep", **given, units="*temp* = F")
        assert person.send(keep).status_code == 303
        (made,) = [one for one in manager.get(f"{API}/sparkplug").json() if one["group"] == name]
        assert made["units"] == [{"pattern": "*temp*", "unit": "F"}]
        assert made["asks"] is True
        assert name in person.get("/sparkplug").words

        delete = person.get("/sparkplug").form(f"/sparkplug/{made['id']}/delete")
        assert person.send(delete).status_code == 303
        assert name not in person.get("/sparkplug").words
