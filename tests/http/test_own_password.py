"""A password that somebody else set is good for choosing one's own, and for nothing else."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.builders import catalogue as build
from tests.fixtures.html import Form, Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving

__all__ = ["manager", "serving"]

API = "/api/v1"
GIVEN = "from the manager"
OWN = "nine red boats"


@pytest.fixture(scope="module")
def boss(serving):
    with signed_in(serving, "manager") as person:
        yield person


@pytest.fixture
def cy(boss: Person) -> str:
    """Let somebody in, with a password that the manager thought of; return the name."""
    name = build.fresh("crew")
    fields = {"name": name, "display_name": "Cy", "role": "crew", "password": GIVEN}
    assert boss.send(boss.fill("/people", "/people", **fields)).status_code == 303
    return name


def asked(client, name: str, password: str = GIVEN, *, next: str = "/alarms?x=1") -> Form:  # noqa: A002
    """Sign in on the page and return the form that asks for one's own password."""
    form = Page(client.get("/sign-in", params={"next": next}).text).form("/sign-in")
    form.fields |= {"name": name, "password": password}
    answer = client.post(form.action, data=form.fields)
    assert answer.status_code == 200
    assert "Set-Cookie" not in answer.headers
    page = Page(answer.text)
    assert "Choose your own password" in page.words
    return page.form("/sign-in/own-password")


def reset(boss: Person, name: str, password: str) -> None:
    """Have the manager set a person's password."""
    form = boss.get("/people").form(f"/people/{name}/change", password="")
    form.fields["password"] = password
    assert boss.send(form).status_code == 303


def choose(client, form: Form, password: str):
    return client.post(form.action, data=form.fields | {"password": password})


def test_own_password_is_asked_for_before_anything_else_and_then_never_again(serving, cy):
    with serving.client() as phone:
        form = asked(phone, cy)
        for path in ("/floor", "/me", f"{API}/drums"):
            assert phone.get(path).status_code in (303, 401)

        answer = choose(phone, form, OWN)

        assert answer.headers["Location"] == "/alarms?x=1"
        assert phone.get("/floor").status_code == 200
        assert choose(phone, form, "a second one of it").status_code == 401
    with serving.signed_in(cy, OWN) as client:
        assert client.get(f"{API}/session").json()["name"] == cy
    with serving.client() as client:
        body = {"name": cy, "password": GIVEN}
        assert client.post(f"{API}/session", json=body).status_code == 401


def test_password_set_anew_by_a_manager_is_asked_for_too_and_ends_what_was_begun(
    serving, boss, manager, cy
):
    with serving.client() as phone:
        choose(phone, asked(phone, cy), OWN)
        reset(boss, cy, "and another one")
        assert phone.get(f"{API}/session").status_code == 401
        waits = asked(phone, cy, "and another one")

        items = manager.get(f"{API}/accounts", params={"limit": 200}).json()["items"]
        (found,) = [item for item in items if item["name"] == cy]
        assert found["temporary"]
        change = {"password": "set by a program"}
        assert manager.patch(f"{API}/accounts/{found['id']}", json=change).status_code == 200

        late = choose(phone, waits, OWN)
        assert late.status_code == 401
        assert "Sign in again." in Page(late.text).words
        assert choose(phone, asked(phone, cy, "set by a program"), OWN).status_code == 303


def test_neither_the_given_password_nor_a_short_one_is_taken(serving, cy):
    with serving.client() as phone:
        form = asked(phone, cy)
        for bad, told in ((GIVEN, "somebody else set"), ("short", "fewer than 10 characters")):
            answer = choose(phone, form, bad)
            assert answer.status_code == 422
            page = Page(answer.text)
            assert told in page.words
            assert bad not in answer.text
            form = page.form("/sign-in/own-password")
        assert choose(phone, form, OWN).status_code == 303


def test_what_shows_that_the_password_was_given_cannot_be_made_up(serving, boss, cy):
    later = int((datetime.now(UTC) + timedelta(minutes=9)).timestamp())  # noqa: TID251 - the real clock
    with serving.client() as phone:
        form = asked(phone, cy)
        chit = form.fields["chit"]
        for forged in (
            "",
            "x",
            f"{cy}|{later}.x",
            chit.replace(cy, boss.name),
            chit.replace("|", "|9"),
            "ÿ|1.x",
        ):
            form.fields["chit"] = forged
            assert choose(phone, form, OWN).status_code == 401, forged
        form.fields["chit"] = chit
        elsewhere = {"Origin": "https://elsewhere.example"}
        answer = phone.post(form.action, data=form.fields | {"password": OWN}, headers=elsewhere)
        assert answer.status_code == 403
        assert choose(phone, form, OWN).status_code == 303


def test_program_is_told_what_to_send_and_signs_in_with_it(serving, cy):
    body = {"name": cy, "password": GIVEN}
    with serving.client() as client:
        first = client.post(f"{API}/session", json=body)
        assert first.status_code == 403
        assert first.json()["errors"][0]["field"] == "new_password"
        assert "Set-Cookie" not in first.headers
        same = client.post(f"{API}/session", json=body | {"new_password": GIVEN})
        assert same.status_code == 422
        assert client.post(f"{API}/session", json=body | {"new_password": OWN}).status_code == 201
        body["password"] = OWN
        again = client.post(f"{API}/session", json=body | {"new_password": "one more of them"})
        assert again.status_code == 422


def test_tokens_and_phone_codes_go_on_without_it(serving, boss, cy):
    with serving.client() as client:  # a token of the person's own goes on
        answer = choose(client, asked(client, cy), OWN)
        assert answer.status_code == 303
        csrf = client.get(f"{API}/session").json()["csrf"]
        made = client.post(
            "/me/tokens", data={"csrf": csrf, "name": "scale", "scopes": "read", "days": "7"}
        )
        secret = made.text.split("<code>")[1].split("</code>")[0]
    reset(boss, cy, GIVEN)
    with serving.client() as program:
        program.headers["Authorization"] = f"Bearer {secret}"
        assert program.get(f"{API}/drums").status_code == 200
    with serving.client() as phone:  # a phone that reads a code needs no password
        words = Page(boss.send(boss.fill("/people", f"/people/{cy}/phone")).text).words
        code = words.split("/sign-in/once/")[1].split()[0]
        assert phone.post(f"/sign-in/once/{code}").status_code == 303
        assert phone.get("/floor").status_code == 200


def test_password_that_its_owner_thought_of_is_not_asked_for_anew(serving, manager):
    body = build.account(role="manager", temporary=False)  # whoever makes it may say so
    account = manager.post(f"{API}/accounts", json=body).json()
    assert account["temporary"] is False
    with serving.signed_in(body["name"], body["password"]) as client:
        own = client.patch(f"{API}/accounts/{account['id']}", json={"password": OWN})
        assert own.json()["temporary"] is False
    with serving.signed_in(body["name"], OWN):
        pass


def test_temporary_without_a_password_is_a_fault(manager):
    account = manager.post(f"{API}/accounts", json=build.account()).json()
    answer = manager.patch(f"{API}/accounts/{account['id']}", json={"temporary": True})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "temporary"
