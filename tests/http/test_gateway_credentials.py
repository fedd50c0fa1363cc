"""Gateways' passwords by API and by page: made, shown once, revoked, and by whom."""

import anyio
import pytest

from drumkeep.app import create_app
from drumkeep.cli.main import main
from drumkeep.domain.roles import Role
from drumkeep.settings import Settings
from tests.builders import catalogue as build
from tests.fixtures.people import signed_in
from tests.fixtures.serving import serve, serving

__all__ = ["serving"]
API = "/api/v1"


@pytest.fixture(scope="module")
def with_broker(tmp_path_factory):
    folder = tmp_path_factory.mktemp("broker")
    with serve(tmp_path_factory.mktemp("serving"), broker_folder=folder) as running:
        yield running, folder


@pytest.fixture
def gateway(with_broker):
    running, _ = with_broker
    with running.client(Role.MANAGER) as manager:
        site = manager.post(f"{API}/sites", json=build.site()).json()["code"]
        return manager.post(f"{API}/gateways", json=build.gateway(site)).json()["gateway"]


def passwords(folder):
    lines = (folder / "passwords").read_text().splitlines()
    return dict(line.split(":", 1) for line in lines)


def test_a_password_made_by_the_api_is_in_the_brokers_files_until_it_is_revoked(
    with_broker, gateway
):
    running, folder = with_broker
    address = f"{API}/gateways/{gateway}/credential"
    with running.client(Role.MANAGER) as manager:
        made = manager.post(address)
        assert made.status_code == 201, made.text
        assert made.json()["username"] == gateway
        assert made.headers["Cache-Control"] == "no-store"
        assert passwords(folder)[gateway].startswith("$7$101$")
        assert made.json()["password"] not in (folder / "passwords").read_text()
        assert (
            f"user {gateway}\ntopic write drumkeep/v1/{gateway}/readings\n"
            in (folder / "acl").read_text()
        )

        assert manager.delete(address).status_code == 204
        assert gateway not in passwords(folder)
        assert gateway not in (folder / "acl").read_text()
        assert manager.delete(address).status_code == 409
        assert manager.post(f"{API}/gateways/{gateway}x/credential").status_code == 404


@pytest.mark.parametrize("role", set(Role) - {Role.MANAGER})
def test_only_a_manager_gives_and_revokes_passwords(with_broker, gateway, role):
    running, folder = with_broker
    with running.client(role) as client:
        assert client.post(f"{API}/gateways/{gateway}/credential").status_code == 403
        assert client.delete(f"{API}/gateways/{gateway}/credential").status_code == 403
    with signed_in(running, role) as person:
        assert person.get("/gateways").forms[-1].action != f"/gateways/{gateway}/credential"
        posted = {"csrf": person.csrf()}
        answer = person.client.post(f"/gateways/{gateway}/credential", data=posted)
        assert answer.status_code == 403
    assert gateway not in passwords(folder)


def test_the_page_shows_a_password_once_and_takes_it_away(with_broker, gateway):
    running, folder = with_broker
    with signed_in(running, "manager") as person:
        make = person.get("/gateways").form(f"/gateways/{gateway}/credential")
        answer = person.send(make)
        assert answer.status_code == 200
        assert answer.headers["Cache-Control"] == "no-store"
        assert f"The password of {gateway}" in answer.text
        assert gateway in passwords(folder)

        assert f"The password of {gateway}" not in person.get("/gateways").words
        assert f"by {person.name}" in person.get("/gateways").words

        revoke = person.get("/gateways").form(f"/gateways/{gateway}/credential/revoke")
        assert person.send(revoke).status_code == 303
        assert gateway not in passwords(folder)


def test_a_form_without_its_token_gives_no_password(with_broker, gateway):
    running, folder = with_broker
    with signed_in(running, "manager") as person:
        answer = person.client.post(f"/gateways/{gateway}/credential", data={})

    assert answer.status_code == 403
    assert gateway not in passwords(folder)


def test_without_the_brokers_folder_none_is_made_and_why_is_said(serving):
    with serving.client(Role.MANAGER) as manager:
        site = manager.post(f"{API}/sites", json=build.site()).json()["code"]
        gateway = manager.post(f"{API}/gateways", json=build.gateway(site)).json()["gateway"]
        answer = manager.post(f"{API}/gateways/{gateway}/credential")

    assert answer.status_code == 503
    assert "DRUMKEEP_BROKER_FOLDER" in answer.json()["title"]
    with signed_in(serving, "manager") as person:
        assert "DRUMKEEP_BROKER_FOLDER" in person.get("/gateways").words


def test_a_folder_that_cannot_be_written_is_named(with_broker, gateway):
    running, folder = with_broker
    moved = folder.rename(folder.with_name("moved"))
    try:
        with running.client(Role.MANAGER) as manager:
            answer = manager.post(f"{API}/gateways/{gateway}/credential")
    finally:
        moved.rename(folder)

    assert answer.status_code == 503
    assert str(folder) in answer.json()["title"]


def test_the_command_makes_and_revokes_what_the_service_made(
    with_broker, gateway, monkeypatch, capsys
):
    running, folder = with_broker
    site, code = gateway.split("/")
    monkeypatch.setenv("DRUMKEEP_BROKER_FOLDER", str(folder))
    monkeypatch.setenv("DRUMKEEP_DATABASE_URL", str(running.engine.url))
    monkeypatch.setenv("DRUMKEEP_DATA_DIR", str(folder))

    assert main(["gateway", "credential", site, code]) == 0
    told = dict(line.split() for line in capsys.readouterr().out.splitlines())
    assert told["username"] == gateway
    assert gateway in passwords(folder)

    (folder / "passwords").write_text("")
    assert main(["gateway", "files"]) == 0
    assert gateway in passwords(folder)

    assert main(["gateway", "credential", site, code, "--revoke"]) == 0
    assert gateway not in passwords(folder)

    assert main(["gateway", "credential", site, code, "--revoke"]) == 2
    assert gateway in capsys.readouterr().err


def test_a_service_that_starts_brings_the_files_up_to_date(with_broker, gateway):
    running, folder = with_broker
    with running.client(Role.MANAGER) as manager:
        manager.post(f"{API}/gateways/{gateway}/credential")
    (folder / "passwords").unlink()

    settings = Settings(data_dir=folder, broker_folder=folder)
    app = create_app(settings, engine=running.engine)

    async def start_and_stop():
        async with app.router.lifespan_context(app):
            pass

    anyio.run(start_and_stop)

    assert gateway in passwords(folder)
