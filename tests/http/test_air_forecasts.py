"""A forecast of a site's outdoor air over HTTP: as JSON, as CSV, and what is refused."""

from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.domain.roles import Role
from tests.builders import catalogue as build
from tests.fixtures.serving import manager, serving

__all__ = ["manager", "serving"]
API = "/api/v1"
HOUR = timedelta(hours=1)


@pytest.fixture
def address(manager):
    site = manager.post(f"{API}/sites", json=build.site()).json()["code"]
    return f"{API}/sites/{site}/air-forecast"


def now():
    return datetime.now(UTC).replace(microsecond=0)  # noqa: TID251 - a real service


def points(count=24, *, c=4.0, start=None):
    start = start or now()
    return [{"at": (start + i * HOUR).isoformat(), "c": c} for i in range(count)]


def test_a_forecast_comes_back_as_it_was_sent(manager, address):
    sent = points(3)
    answer = manager.put(address, json={"points": sent})

    assert answer.status_code == 200, answer.text
    got = manager.get(address).json()
    assert got == answer.json()
    assert [p["c"] for p in got["points"]] == [4.0, 4.0, 4.0]
    assert datetime.fromisoformat(got["points"][1]["at"]) == now_of(sent[1])
    assert got["by"] == "test manager"
    fresh = datetime.fromisoformat(got["fresh_until"]) - datetime.fromisoformat(got["issued_at"])
    assert fresh == timedelta(hours=24)


def now_of(point):
    return datetime.fromisoformat(point["at"])


def test_csv_is_read_in_fahrenheit_if_its_header_says_so(manager, address):
    rows = "".join(f"{p['at']},14\n" for p in points(5))
    answer = manager.put(
        address,
        content=f"time,temperature_f\n{rows}",
        headers={"Content-Type": "text/csv; charset=utf-8"},
    )

    assert answer.status_code == 200, answer.text
    # 14 °F is −10 °C by definition
    assert [p["c"] for p in answer.json()["points"]] == pytest.approx([-10.0] * 5)


def test_of_several_the_one_issued_last_is_used(manager, address):
    newer = {"issued_at": (now() - HOUR).isoformat(), "points": points(c=1.0)}
    older = {"issued_at": (now() - 6 * HOUR).isoformat(), "points": points(c=2.0)}

    manager.put(address, json=newer)
    answer = manager.put(address, json=older)
    assert answer.json()["points"][0]["c"] == 1.0

    again = manager.put(address, json=newer | {"points": points(c=3.0)})
    assert again.json()["points"][0]["c"] == 3.0


def test_csv_says_in_the_address_when_it_was_issued(manager, address):
    issued = now() - 3 * HOUR
    answer = manager.put(
        address,
        params={"issued_at": issued.isoformat()},
        content="time,c\n" + "".join(f"{p['at']},5\n" for p in points(5)),
        headers={"Content-Type": "text/csv"},
    )

    assert datetime.fromisoformat(answer.json()["issued_at"]) == issued


@pytest.mark.parametrize("role", Role)
def test_managers_and_dispatchers_send_forecasts_and_everybody_reads_them(
    serving, manager, address, role
):
    with serving.client(role) as client:
        answer = client.put(address, json={"points": points()})
        allowed = role in (Role.MANAGER, Role.DISPATCHER)
        assert answer.status_code == (200 if allowed else 403), answer.text
        manager.put(address, json={"points": points()})
        assert client.get(address).status_code == 200


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"points": points(2, c=61.0)}, "points.0.c"),
        ({"points": points(1)}, "points"),
        ({"points": [{"at": "2026-02-04T12:00:00", "c": 1.0}] * 2}, "points.0.at"),
        ({"points": [*points(2), *points(1, start=now() + 9 * HOUR)]}, "points.2.at"),
        ({"points": points(2, start=now() - 9 * HOUR)}, "points.1.at"),
        ({"points": points(2), "source": "sky"}, "source"),
        ({"points": points(3), "issued_at": "2020-01-01T00:00:00Z"}, "issued_at"),
        ([1, 2], ""),
    ],
)
def test_what_cannot_be_used_is_named_with_its_field(manager, address, body, field):
    answer = manager.put(address, json=body)

    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    first = answer.json()["errors"][0]
    assert first["field"] == field
    assert first["mend"]
    assert manager.get(address).status_code == 404


@pytest.mark.parametrize(
    "content",
    [b"", b"time,c\n\xff\xfe", b"time,kelvin\n", b"time,c\n", b"time,c\n\x00,5\n", b'"' * 5000],
)
def test_csv_that_cannot_be_read_is_refused(manager, address, content):
    answer = manager.put(address, content=content, headers={"Content-Type": "text/csv"})

    assert answer.status_code == 422
    assert answer.json()["errors"]


def test_a_body_of_another_kind_is_refused(manager, address):
    answer = manager.put(address, content=b"<a/>", headers={"Content-Type": "text/xml"})

    assert answer.status_code == 415


def test_a_site_that_is_not_there_has_no_forecast(manager):
    missing = f"{API}/sites/nowhere/air-forecast"

    assert manager.get(missing).status_code == 404
    assert manager.put(missing, json={"points": points()}).status_code == 404


def test_both_ways_to_send_it_are_described(manager):
    paths = manager.get("/openapi.json").json()["paths"]
    body = paths[f"{API}/sites/{{code}}/air-forecast"]["put"]["requestBody"]

    assert set(body["content"]) == {"application/json", "text/csv"}
    assert "$ref" not in str(body)
