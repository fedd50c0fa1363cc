"""Role by role, token by token and route by route, over real HTTP: the table of who_may.py."""

import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

import httpx
import pytest
from sqlmodel import SQLModel

from drumkeep.domain.roles import Role, Scope
from drumkeep.storage.catalogue import site_by_code
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.transaction import reading, transaction
from tests.builders import catalogue as build
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import Serving, manager, nobody, serving
from tests.fixtures.yard import Yard, yard
from tests.http.who_may import LINES, Line, routes

__all__ = ["manager", "nobody", "serving", "yard"]
API = "/api/v1"
REFUSED = 403
ROLES = tuple(Role)
# It never ends.
STREAM = "/live"
# These would sign the asker out, or are answered with a stream of somebody's own.
ENDS_SESSION = {"/sign-out", "/api/v1/session"}


class Attack:
    """Everybody who asks, and what they ask with."""

    def __init__(self, yard: Yard, people: dict[Role, Person]) -> None:
        self.yard = yard
        self.people = people
        self.csrf = {role: person.csrf() for role, person in people.items()}
        self.tag = yard.receive()["tag"]
        self.alarm = uuid4().hex
        with transaction(yard.serving.engine) as tx:
            site = site_by_code(tx, code=yard.site)
            assert site is not None
            now = datetime.now(UTC)  # noqa: TID251 - a real service
            tx.session.add(
                Alarm(
                    id=self.alarm,
                    kind="seeding",
                    cause=f"{yard.site}/hall",
                    site_id=site.id,
                    state="unacknowledged",
                    priority="high",
                    audience=["manager"],
                    message="Bring it in.",
                    raised_at=now,
                    changed_at=now,
                )
            )

    def address(self, line: Line) -> str:
        """Fill an address in: with what there is where a role must be refused for itself."""
        site = self.yard.site
        filled = line.path.replace(":path", "")
        for part, value in (
            ("/drums/{tag}", f"/drums/{self.tag}"),
            ("/d/{tag}", f"/d/{self.tag}"),
            ("{alarm_id}", self.alarm),
            ("/places/{site}/{code}", f"/places/{site}/hall"),
            ("/sites/{code}", f"/sites/{site}"),
            ("/products/{code}", f"/products/{self.yard.iso}"),
            ("{account}", "mara"),
            ("{identity}", "7f1e0c9a-3b52-4b7e-9c1d-2a6f5e8d4b10"),
            ("/people/{name}", "/people/nobody-here"),
        ):
            filled = filled.replace(part, value)
        # of whatever else is counted there is none so high
        filled = re.sub(r"\{(\w+_id|stray|group|number)\}", "999999", filled)
        return filled.replace("{", "").replace("}", "")

    def body(self, line: Line) -> dict[str, Any]:
        """Return what must be sent so that the role is what it is refused for."""
        bodies: dict[str, dict[str, Any]] = {
            f"{API}/alarms/{{alarm_id}}/shelve": {"minutes": 30, "reason": "known"},
            f"{API}/accounts/{{account}}/notice-addresses": {"url": "jsons://hooks.example.com/x"},
            "/notices/{account}": {"url": "jsons://hooks.example.com/x"},
            "/notices/{account}/{address_id}/least": {"least": "low"},
        }
        return bodies.get(line.path, {})

    def as_person(self, line: Line, role: Role) -> httpx.Response:
        """Send a form as somebody who has signed in."""
        data = {"csrf": self.csrf[role]} | self.body(line)
        return self.people[role].client.request(line.method, self.address(line), data=data)

    def as_program(self, line: Line, client: httpx.Client) -> httpx.Response:
        """Send a request of the API."""
        has_body = line.method in {"POST", "PUT", "PATCH"}
        more: dict[str, Any] = {"json": self.body(line)} if has_body else {}
        return client.request(line.method, self.address(line), **more)

    @contextmanager
    def token(self, *scopes: Scope) -> Iterator[httpx.Client]:
        """Give a client with a manager's token that is good for this alone."""
        body = build.token(role="manager") | {"scopes": list(scopes)}
        secret = self.yard.client.post(f"{API}/tokens", json=body).json()["secret"]
        with self.yard.serving.client() as client:
            client.headers["Authorization"] = f"Bearer {secret}"
            # its first use is noted, and no other of these minutes
            assert client.get(f"{API}/session").status_code == 200
            yield client


@pytest.fixture(scope="module")
def attack(serving, yard):
    with ExitStack() as stack:
        people = {role: stack.enter_context(signed_in(serving, role)) for role in ROLES}
        for role in ROLES:
            with serving.client(role) as client:
                client.get(f"{API}/session")
        yield Attack(yard, people)


def content(serving: Serving) -> dict[str, list[tuple[Any, ...]]]:
    """Return every row of every table, to be compared."""
    with reading(serving.engine) as tx:
        connection = tx.session.connection()
        return {
            table.name: sorted((tuple(row) for row in connection.execute(table.select())), key=repr)
            for table in SQLModel.metadata.sorted_tables
        }


def named(line: Line) -> str:
    return f"{line.method} {line.path}"


def test_every_route_has_a_line_and_every_line_a_route(serving):
    served = set(routes(serving.app.routes))
    told = {(line.method, line.path) for line in LINES}

    assert sorted(served - told) == [], "add a line for each to tests/http/who_may.py"
    assert sorted(told - served) == []
    assert len(told) == len(LINES)


@pytest.mark.parametrize("role", ROLES)
def test_a_role_is_refused_what_is_not_its_own_and_nothing_is_changed(serving, attack, role):
    before = content(serving)
    with serving.client(role) as program:
        for line in LINES:
            if role in line.roles:
                continue
            answer = (
                attack.as_program(line, program) if line.is_api else attack.as_person(line, role)
            )
            assert answer.status_code == REFUSED, (named(line), answer.status_code, answer.text)
    assert content(serving) == before, "something was changed by who may not"


@pytest.mark.parametrize("role", ROLES)
def test_a_role_may_do_what_is_its_own(serving, attack, role):
    with serving.client(role) as program:
        for line in LINES:
            # what all may read the one who may least reads for all
            read_by_all = line.method == "GET" and len(line.roles) == len(ROLES)
            if role not in line.roles or line.is_open or line.path in ENDS_SESSION | {STREAM}:
                continue
            if read_by_all and role is not Role.VIEWER:
                continue
            answer = (
                attack.as_program(line, program) if line.is_api else attack.as_person(line, role)
            )
            assert answer.status_code not in {401, REFUSED}, (named(line), answer.text)


def test_nobody_gets_in_without_signing_in_but_where_all_may(serving, attack, nobody):
    before = content(serving)
    for line in LINES:
        if line.is_open:
            continue
        answer = attack.as_program(line, nobody)
        if answer.status_code == 303:
            assert urlsplit(answer.headers["Location"]).path == "/sign-in", named(line)
            assert answer.text == ""
        else:
            assert answer.status_code == 401, (named(line), answer.text)
    assert content(serving) == before


def test_a_managers_token_that_may_only_read_changes_nothing(serving, attack):
    with attack.token(Scope.READ) as reader:
        before = content(serving)
        for line in LINES:
            if line.method == "GET" or line.is_open or line.scope is Scope.READ:
                continue
            answer = attack.as_program(line, reader)
            assert answer.status_code == REFUSED, (named(line), answer.text)
        assert content(serving) == before
        assert reader.get(f"{API}/drums").status_code == 200


@pytest.mark.parametrize("scope", Scope)
def test_a_token_is_good_for_its_own_scope_and_no_other(attack, scope):
    with attack.token(scope) as client:
        for line in LINES:
            if line.scope is None or (line.scope == scope) is (line.method == "GET"):
                continue
            answer = attack.as_program(line, client)
            refused = answer.status_code == REFUSED
            assert refused is (line.scope != scope), (named(line), answer.text)


def test_a_token_of_several_scopes_is_good_for_each(attack):
    with attack.token(Scope.READ, Scope.RECORD) as client:
        assert client.get(f"{API}/drums/{attack.tag}").status_code == 200
        body = attack.yard.event("inspected", other=attack.tag)
        assert attack.yard.send(attack.tag, body, client=client).status_code == 201
        assert client.post(f"{API}/sites", json=build.site()).status_code == REFUSED


def test_ones_own_token_acts_as_one_does_now_and_no_longer(serving, attack):
    with signed_in(serving, "crew") as cy, serving.client() as client:
        form = cy.fill("/me", "/me/tokens", name=build.fresh("scale"), scopes="record")
        words = cy.send(form).text
        secret = re.search(r"drumkeep_[\w-]+", words)
        assert secret is not None
        assert secret[0] not in cy.client.get("/me").text
        client.headers["Authorization"] = f"Bearer {secret[0]}"
        body = attack.yard.event("inspected", other=attack.tag)
        assert attack.yard.send(attack.tag, body, client=client).status_code == 201
        assert client.get(f"{API}/drums").status_code == REFUSED

        accounts = attack.yard.client.get(f"{API}/accounts", params={"limit": 200}).json()["items"]
        (own,) = [account for account in accounts if account["name"] == cy.name]
        address = f"{API}/accounts/{own['id']}"
        attack.yard.client.patch(address, json={"role": "viewer"})
        assert attack.yard.send(attack.tag, body, client=client).status_code == REFUSED
        attack.yard.client.patch(address, json={"disabled": True})
        assert client.get(f"{API}/session").status_code == 401


def test_a_token_over_its_time_opens_nothing_and_its_use_is_known(serving, manager):
    body = build.token() | {"scopes": ["read"], "expires_at": "2099-01-01T00:00:00Z"}
    made = manager.post(f"{API}/tokens", json=body).json()
    assert made["last_used_at"] is None
    with serving.client() as client:
        client.headers["Authorization"] = f"Bearer {made['secret']}"
        assert client.get(f"{API}/drums").status_code == 200
    kept = manager.get(f"{API}/tokens/{made['id']}").json()
    assert kept["last_used_at"] is not None
    assert kept["scopes"] == ["read"]
    unusable: tuple[build.Body, ...] = (
        {"scopes": []},
        {"scopes": ["all"]},
        {"expires_at": "2020-01-01T00:00:00Z"},
    )
    for spoilt in unusable:
        answer = manager.post(f"{API}/tokens", json=body | build.token() | spoilt)
        assert answer.status_code == 422, answer.text


def test_a_refused_change_is_refused_before_its_body_is_looked_at(serving):
    with serving.client(Role.VIEWER) as client:
        assert client.post(f"{API}/sites", json={"nonsense": 1}).status_code == REFUSED
