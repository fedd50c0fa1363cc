"""Role by role and action by action, over real HTTP."""

from collections.abc import Callable

import pytest

from drumkeep.domain.roles import Role
from tests.builders import catalogue as build
from tests.fixtures.serving import manager, nobody, serving

__all__ = ["manager", "nobody", "serving"]
API = "/api/v1"

READS = ["sites", "places", "products", "lots", "gateways", "sensors"]
CHANGES: dict[str, Callable[[str], build.Body]] = {
    "sites": lambda _: build.site(),
    "places": build.place,
    "products": lambda _: build.product(),
    "gateways": build.gateway,
    "sensors": lambda _: build.sensor(),
    "accounts": lambda _: build.account(),
    "tokens": lambda _: build.token(),
}


@pytest.fixture(scope="module")
def site(manager):
    return manager.post(f"{API}/sites", json=build.site()).json()["code"]


@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("noun", READS)
def test_every_role_reads_the_catalogue(serving, role, noun):
    with serving.client(role) as client:
        assert client.get(f"{API}/{noun}").status_code == 200


@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("noun", CHANGES)
def test_only_a_manager_changes_the_catalogue_and_accounts(serving, site, role, noun):
    with serving.client(role) as client:
        answer = client.post(f"{API}/{noun}", json=CHANGES[noun](site))

    if role is Role.MANAGER:
        assert answer.status_code == 201, answer.text
    else:
        assert answer.status_code == 403
        assert answer.json()["type"] == "urn:drumkeep:problem:refused"
        assert role in answer.json()["title"]


@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("noun", ["accounts", "tokens"])
def test_only_a_manager_sees_accounts_and_tokens(serving, role, noun):
    with serving.client(role) as client:
        assert (client.get(f"{API}/{noun}").status_code == 200) == (role is Role.MANAGER)


def test_nothing_but_sign_in_and_health_is_open(serving, nobody):
    open_to_all = {("GET", "/health"), ("GET", "/ready"), ("POST", "/api/v1/session")}
    with serving.client(Role.MANAGER) as client:
        described = client.get("/openapi.json").json()
    found = {
        (method.upper(), path)
        for path, methods in described["paths"].items()
        for method in methods
        if path.startswith(API) or path in {"/health", "/ready", "/metrics", "/openapi.json"}
    }
    assert open_to_all < found

    for method, path in found - open_to_all:
        address = path.replace("{", "").replace("}", "").replace(":path", "")
        body: dict[str, build.Body] = {"json": {}} if method in {"POST", "PATCH"} else {}
        answer = nobody.request(method, address, **body)
        assert answer.status_code == 401, (method, path, answer.text)


def test_a_refused_change_is_refused_before_its_body_is_looked_at(serving):
    with serving.client(Role.VIEWER) as client:
        assert client.post(f"{API}/sites", json={"nonsense": 1}).status_code == 403
