"""Bad requests as a whole: no JSON, another kind or method, too large; and our own defects."""

import json

import pytest

from drumkeep.domain.roles import Role
from tests.builders import catalogue as build
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.serving import manager, serving

__all__ = ["manager", "serving"]
API = "/api/v1"
SITE = build.site()


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"nonsense",
        b"[]",
        b"null",
        b'"text"',
        b'{"code": NaN}',
        b'{"altitude_m": Infinity}',
        b'{"altitude_m": 1e400}',
        b"\xff\xfe{}",
        b'{"name": "\xff"}',
        b"[" * 900 + b"]" * 900,
        b"[" * 500_000,
        b'{"a":' * 100_000,
        b'{"n": ' + b"9" * 10_000 + b"}",
    ],
)
def test_what_is_no_json_is_refused(manager, content):
    answer = manager.post(
        f"{API}/sites", content=content, headers={"Content-Type": "application/json"}
    )

    assert answer.status_code in {400, 422}
    check_problem(answer, answer.status_code, None)


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "image/png"])
def test_bodies_of_other_kinds_are_refused(manager, kind):
    answer = manager.post(f"{API}/sites", content=json.dumps(SITE), headers={"Content-Type": kind})

    check_problem(answer, 415, None)


def test_other_methods_are_refused(manager):
    answer = manager.put(f"{API}/sites", json=SITE)

    check_problem(answer, 405, None)
    assert {"GET", "POST"} & set(answer.headers["Allow"].split(", "))


@pytest.mark.parametrize("chunked", [False, True])
@pytest.mark.parametrize("address", ["sites", "session", "nothing", "sites/found"])
def test_a_body_of_ten_megabytes_is_refused(serving, manager, chunked, address):
    before = stored(serving)
    large = json.dumps(SITE | {"name": "x" * 10_000_000}).encode()

    def pieces():
        for start in range(0, len(large), 65_536):
            yield large[start : start + 65_536]

    answer = manager.post(
        f"{API}/{address}",
        content=pieces() if chunked else large,
        headers={"Content-Type": "application/json"},
    )

    # Without a length, an address that reads no body refuses for a reason of its own.
    assert answer.status_code == 413 or (chunked and answer.status_code in {404, 405})
    check_problem(answer, answer.status_code, None)
    assert stored(serving) == before


def test_a_body_just_within_the_limit_is_looked_at(manager):
    padding = " " * (1024 * 1024 - len(json.dumps(SITE | {"code": "No Code"})))
    content = json.dumps(SITE | {"code": "No Code"}) + padding

    answer = manager.post(
        f"{API}/sites", content=content, headers={"Content-Type": "application/json"}
    )

    check_problem(answer, 422, "code")


def test_a_defect_tells_nothing_but_its_number(serving, caplog):
    def broken() -> None:
        raise ZeroDivisionError("secret detail")

    serving.app.add_api_route("/broken", broken)
    with serving.client(Role.MANAGER) as client:
        answer = client.get("/broken")

    check_problem(answer, 500, None)
    assert "secret detail" not in answer.text
    assert "ZeroDivisionError" not in answer.text
    assert answer.json()["type"] == "urn:drumkeep:problem:defect"
    assert "secret detail" in caplog.text


@pytest.mark.parametrize("path", ["/a%00b", "/static/a%00b"])
def test_a_path_that_no_file_can_have_is_refused(manager, path):
    check_problem(manager.get(path), 422, "path")


@pytest.mark.parametrize("field", ["note", "reason", "mends.0.note"])
def test_control_characters_are_refused_in_what_people_write(manager, field):
    body: object = "a\x01\x07b"
    for part in reversed(field.split(".")):
        body = [body] if part.isdigit() else {part: body}
    answer = manager.post(f"{API}/drums/K7Q2M5/events", json=body)

    check_problem(answer, 422, field)
    assert "control characters" in answer.text


def test_nothing_beside_the_static_files_is_served(manager):
    assert manager.get("/static/..%2frouter.py").status_code == 404
