"""Mappings of other devices' messages: tried, kept and deleted, by API and by page."""

import pytest

from drumkeep.domain.roles import Role
from tests.builders import catalogue as build
from tests.fixtures.people import signed_in
from tests.fixtures.serving import manager, nobody, serving

__all__ = ["manager", "nobody", "serving"]
API = "/api/v1"
MAP = {
    "topic": "sensors/+/state",
    "name": "join(':', ['urn:dev:os:32473-shed', topic[1]])",
    "value": "item.temperature",
    "unit": "'F'",
}
SAMPLE = {"sample_topic": "sensors/loft/state", "sample": '{"temperature": 77}'}


@pytest.fixture
def gateway(manager):
    site = manager.post(f"{API}/sites", json=build.site()).json()["code"]
    return manager.post(f"{API}/gateways", json=build.gateway(site)).json()["gateway"]


def test_a_sample_shows_what_it_would_become_and_stores_nothing(manager):
    answer = manager.post(f"{API}/mappings/try", json=MAP | SAMPLE)

    assert answer.status_code == 200, answer.text
    (found,) = answer.json()["readings"]
    assert (found["name"], found["value"]) == ("urn:dev:os:32473-shed:loft", 25)
    assert answer.json()["rejections"] == []
    assert manager.get(f"{API}/strays").json() == []


def test_a_mapping_is_made_listed_and_deleted(manager, gateway):
    code = build.fresh("map")
    made = manager.post(f"{API}/mappings", json=MAP | {"code": code, "gateway": gateway})
    assert made.status_code == 201, made.text
    assert made.json() == MAP | {"code": code, "gateway": gateway, "items": "@", "time": None}
    assert manager.get(made.headers["Location"]).json() == made.json()
    assert made.json() in manager.get(f"{API}/mappings").json()
    again = manager.post(f"{API}/mappings", json=MAP | {"code": code, "gateway": gateway})
    assert again.status_code == 409

    assert manager.delete(f"{API}/mappings/{code}").status_code == 204
    assert manager.get(f"{API}/mappings/{code}").status_code == 404
    assert manager.delete(f"{API}/mappings/{code}").status_code == 404


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"value": "item."}, "value"),
        ({"topic": "drumkeep/#"}, "topic"),
        ({"gateway": "nowhere/none"}, "gateway"),
        ({"code": "No Code"}, "code"),
    ],
)
def test_what_cannot_work_is_refused_by_field(manager, gateway, wrong, field):
    body = MAP | {"code": build.fresh("map"), "gateway": gateway} | wrong
    answer = manager.post(f"{API}/mappings", json=body)

    assert answer.status_code == 422
    assert [fault["field"] for fault in answer.json()["errors"]] == [field]


@pytest.mark.parametrize("role", set(Role) - {Role.MANAGER})
def test_only_a_manager_changes_mappings(serving, gateway, role):
    with serving.client(role) as client:
        body = MAP | {"code": build.fresh("map"), "gateway": gateway}
        assert client.post(f"{API}/mappings", json=body).status_code == 403
        assert client.delete(f"{API}/mappings/none").status_code == 403
    with signed_in(serving, role) as person:
        assert "Try a mapping" not in person.get("/mappings").words
        posted = {"csrf": person.csrf(), "do": "try"}
        assert person.client.post("/mappings", data=posted).status_code == 403


def test_the_page_tries_a_sample_in_the_persons_units_and_then_keeps_it(serving, manager, gateway):
    code = build.fresh("map")
    with signed_in(serving, "manager") as person:
        tried = person.send(person.fill("/mappings", "/mappings", do="try", **MAP, **SAMPLE))
        assert tried.status_code == 200
        assert "urn:dev:os:32473-shed:loft" in tried.text
        assert "77 °F" in tried.text.replace("\xa0", " ")
        assert MAP["value"] in tried.text  # the form still holds what was tried

        missing = person.fill("/mappings", "/mappings", do="try", **MAP, **SAMPLE)
        missing.fields["sample"] = '{"humidity": 40}'
        assert "is no number" in person.send(missing).text

        wrong = person.fill("/mappings", "/mappings", do="try", **(MAP | {"unit": "°F"}))
        refused = person.send(wrong)
        assert refused.status_code == 422
        assert "is no JMESPath expression" in refused.text

        keep = person.fill("/mappings", "/mappings", do="keep", code=code, gateway=gateway, **MAP)
        assert person.send(keep).status_code == 303
        assert manager.get(f"{API}/mappings/{code}").json()["gateway"] == gateway

        delete = person.get("/mappings").form(f"/mappings/{code}/delete")
        assert person.send(delete).status_code == 303
    assert manager.get(f"{API}/mappings/{code}").status_code == 404
