"""``POST /api/v1/readings``."""

import asyncio
import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI
from pydantic import SecretStr

from drumkeep.app import create_app
from drumkeep.operations.tokens import create_token
from drumkeep.settings import Settings
from drumkeep.storage import readings, rejects
from drumkeep.storage.transaction import reading, transaction
from tests.fixtures.shed import Shed, shed

__all__ = ["shed"]
pytestmark = pytest.mark.both_stores

NOW = datetime.now(UTC)  # noqa: TID251 - the app reads the clock
SENML = "application/senml+json"


class Client:
    """Asks the app, without a server between."""

    def __init__(self, app: FastAPI, runner: asyncio.Runner) -> None:
        self._transport = httpx.ASGITransport(app)
        self._runner = runner

    def get(self, path: str, *, headers: dict[str, str]) -> httpx.Response:
        async def ask() -> httpx.Response:
            async with httpx.AsyncClient(transport=self._transport, base_url="http://shed") as http:
                return await http.get(path, headers=headers)

        return self._runner.run(ask())

    def post(self, path: str, *, content: bytes, headers: dict[str, str]) -> httpx.Response:
        async def ask() -> httpx.Response:
            async with httpx.AsyncClient(transport=self._transport, base_url="http://shed") as http:
                return await http.post(path, content=content, headers=headers)

        return self._runner.run(ask())


@pytest.fixture
def client(shed: Shed, tmp_path: Path) -> Iterator[Client]:
    settings = Settings(data_dir=tmp_path, secret_key=SecretStr("k" * 40))
    with asyncio.Runner() as runner:
        yield Client(create_app(settings, engine=shed.engine), runner)


def token(shed: Shed, role: str = "crew") -> str:
    with transaction(shed.engine) as tx:
        _, secret = create_token(tx, name=f"a {role}", role=role, created_by=None, now=NOW)
    return secret


def post(
    client: Client, secret: str | None, payload: object, *, kind: str = SENML
) -> httpx.Response:
    headers = {"Content-Type": kind}
    if secret is not None:
        headers["Authorization"] = f"Bearer {secret}"
    body = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    return client.post("/api/v1/readings", content=body, headers=headers)


def stored(shed: Shed) -> list[float]:
    to_ms = int(NOW.timestamp() * 1000)
    with reading(shed.engine) as tx:
        found = readings.series(
            tx, sensor_ids=[shed.air], from_ms=to_ms - 86_400_000, to_ms=to_ms + 600_000
        )
    return [float(value) for value in found[shed.air][1]]


def kept(shed: Shed) -> int:
    with reading(shed.engine) as tx:
        return len(rejects.list_rejects(tx))


def test_a_pack_is_stored_and_answered_with_what_became_of_each_record(client: Client, shed: Shed):
    secret = token(shed)
    pack = [
        {"bn": shed.air_name, "bu": "Cel", "bt": NOW.timestamp() - 600, "v": -7},
        {"t": 60, "v": -7.5},
        {"t": 120, "v": 999},
        {"bn": "", "n": "urn:dev:ow:unknown", "t": 120, "v": 1},
    ]

    first = post(client, secret, pack)
    again = post(client, secret, pack)

    assert first.status_code == again.status_code == 202
    assert first.json()["stored"] == 2
    assert first.json()["duplicates"] == 0
    assert [(told["index"], told["field"], told["value"]) for told in first.json()["rejected"]] == [
        (2, "v", 999),
        (3, "n", "urn:dev:ow:unknown"),
    ]
    assert all(told["problem"] and told["mend"] for told in first.json()["rejected"])
    assert (again.json()["stored"], again.json()["duplicates"]) == (0, 2)
    assert stored(shed) == [-7, -7.5]


@pytest.mark.parametrize(
    ("payload", "field"),
    [
        (b"", ""),
        (b"hello", ""),
        (b"{}", ""),
        (b"[]", ""),
        (b"[" * 100_000, "0"),
        (b'[{"n":"a","v":1},{"n":"a","v":"x"}]', "1.v"),
        (b'[{"n":"_a","v":1}]', "0.n"),
        (b'[{"n":"a","v":1,"must_":1}]', "0.must_"),
    ],
)
def test_a_pack_that_cannot_be_read_is_a_problem_and_is_kept(
    client: Client, shed: Shed, payload: bytes, field: str
):
    answer = post(client, token(shed), payload)

    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["errors"][0]["field"] == field
    assert answer.json()["errors"][0]["mend"]
    assert stored(shed) == []
    assert kept(shed) == 1


def test_nobody_sends_readings_without_a_token_or_as_a_viewer(client: Client, shed: Shed):
    pack = [{"n": shed.air_name, "u": "Cel", "v": 1}]

    assert post(client, None, pack).status_code == 401
    assert post(client, "drumkeep_wrong", pack).status_code == 401
    assert post(client, token(shed, "viewer"), pack).status_code == 403
    assert stored(shed) == []


def test_another_kind_of_body_and_a_body_too_large_are_refused(client: Client, shed: Shed):
    secret = token(shed)
    pack = [{"n": shed.air_name, "u": "Cel", "v": 1}]

    wrong = post(client, secret, pack, kind="application/json")
    large = post(client, secret, b" " * 10_000_000)

    assert wrong.status_code == 415
    assert SENML in wrong.json()["title"]
    assert large.status_code == 413
    assert stored(shed) == []


def test_a_manager_reads_what_was_rejected_and_why(client: Client, shed: Shed):
    post(client, token(shed), b'{"n":1}')
    post(client, token(shed, "dispatcher"), [{"n": Shed.air_name, "u": "%RH", "v": 50}])
    manager = {"Authorization": f"Bearer {token(shed, 'manager')}"}

    first = client.get("/api/v1/readings/rejected?limit=1", headers=manager).json()
    cursor = first["next_cursor"]
    second = client.get(f"/api/v1/readings/rejected?cursor={cursor}", headers=manager).json()

    (newest,), (oldest,) = first["items"], second["items"]
    assert (newest["field"], newest["value"]) == ("u", "humidity")
    assert newest["mend"]
    assert oldest["begins"] == '{"n":1}'
    assert second["next_cursor"] is None


def test_only_managers_read_what_was_rejected(client: Client, shed: Shed):
    crew = {"Authorization": f"Bearer {token(shed)}"}

    assert client.get("/api/v1/readings/rejected", headers=crew).status_code == 403
