"""Signing in and out, cookies, and what protects them."""

from pathlib import Path

import httpx
import pytest

from drumkeep.asgi.authentication import COOKIE
from tests.builders import catalogue as build
from tests.fixtures.serving import MANAGER, PASSWORD, manager, nobody, serve, serving

__all__ = ["manager", "nobody", "serving"]
API = "/api/v1"


@pytest.fixture
def browser(serving):
    with serving.signed_in() as client:
        yield client


def sign_in(client, name, password):
    return client.post(f"{API}/session", json={"name": name, "password": password})


def test_who_signs_in_is_known_until_they_sign_out(browser):
    who = browser.get(f"{API}/session").json()
    assert (who["name"], who["role"], who["units"]) == (MANAGER, "manager", "us")
    kept = dict(browser.cookies)

    assert browser.delete(f"{API}/session").status_code == 204

    assert browser.get(f"{API}/session").status_code == 401
    # Not only forgotten by the browser: the cookie itself opens nothing any more.
    with httpx.Client(base_url=browser.base_url, cookies=kept) as thief:
        assert thief.get(f"{API}/session").status_code == 401


def test_scripts_and_other_sites_do_not_get_the_cookie(serving):
    with serving.client() as client:
        cookie = sign_in(client, MANAGER, PASSWORD).headers["set-cookie"]

    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert "Path=/" in cookie
    assert PASSWORD not in cookie


def _one_symbol_off(cookie: str) -> str:
    # the first of the signature: the last one's lowest bits stand for nothing
    payload, _, signature = cookie.rpartition(".")
    return f"{payload}.{'A' if signature[0] != 'A' else 'B'}{signature[1:]}"


SPOILT = {
    "one symbol off": _one_symbol_off,
    "another session": lambda cookie: "x" + cookie,
    "no signature": lambda cookie: cookie.rpartition(".")[0],
    "empty": lambda _: "",
    "not even ASCII": lambda _: "\xff.\xff",
}


@pytest.mark.parametrize("spoil", SPOILT.values(), ids=SPOILT)
def test_a_cookie_that_we_did_not_sign_is_nobodys(serving, browser, spoil):
    cookie = spoil(browser.cookies[COOKIE]).encode("latin-1")

    with serving.client() as client:
        answer = client.get(f"{API}/session", headers={b"Cookie": COOKIE.encode() + b"=" + cookie})

    assert answer.status_code == 401


@pytest.mark.parametrize("name", [MANAGER, "nobody-of-this-name"])
def test_a_wrong_password_says_the_same_as_a_wrong_name(nobody, name):
    answer = sign_in(nobody, name, "not the password")

    assert answer.status_code == 401
    assert answer.json()["title"] == "Name or password is wrong."
    assert COOKIE not in answer.cookies


def test_guessing_is_slowed_down(tmp_path):
    with serve(tmp_path) as fresh, fresh.client() as client:
        answers = [sign_in(client, MANAGER, f"guess number {n}").status_code for n in range(5)]
        closed = sign_in(client, MANAGER, PASSWORD)

    assert answers == [401] * 5
    assert closed.status_code == 429
    assert 0 < int(closed.headers["Retry-After"]) <= 301


def test_guessing_from_many_addresses_is_slowed_down_and_locks_nobody_out(tmp_path):
    def attempt(client, password, *, at):
        client.headers["X-Forwarded-For"] = at
        return sign_in(client, MANAGER, password)

    with serve(tmp_path) as fresh, fresh.client() as client:
        fresh.app.state.services.throttle_accounts.failures = 3
        assert attempt(client, PASSWORD, at="192.0.2.1").status_code == 201
        for n in range(3):
            assert attempt(client, "a guess", at=f"198.51.100.{n}").status_code == 401
        assert attempt(client, PASSWORD, at="198.51.100.9").status_code == 429
        # where mara has signed in before, she still can
        assert attempt(client, PASSWORD, at="192.0.2.1").status_code == 201


def test_addresses_of_one_home_count_as_one(tmp_path):
    with serve(tmp_path) as fresh, fresh.client() as client:
        fresh.app.state.services.throttle_hosts.failures = 2
        answers = []
        for n in range(3):
            client.headers["X-Forwarded-For"] = f"2001:db8:1:2::{n + 1:x}"
            answers.append(sign_in(client, f"nobody-{n}", "a guess").status_code)
        client.headers["X-Forwarded-For"] = "2001:db8:1:3::1"
        answers.append(sign_in(client, MANAGER, PASSWORD).status_code)

    assert answers == [401, 401, 429, 201]


def test_a_change_needs_the_token_of_the_session(serving, browser):
    site = build.site()
    token = browser.headers.pop("X-CSRF-Token")
    with serving.signed_in() as other:
        others = other.headers["X-CSRF-Token"]

    for headers in ({}, {"X-CSRF-Token": ""}, {"X-CSRF-Token": "x"}, {"X-CSRF-Token": others}):
        answer = browser.post(f"{API}/sites", json=site, headers=headers)
        assert answer.status_code == 403
    assert browser.get(f"{API}/sites/{site['code']}").status_code == 404

    answer = browser.post(f"{API}/sites", json=site, headers={"X-CSRF-Token": token})
    assert answer.status_code == 201


def test_a_bearer_token_needs_no_csrf_token(manager):
    assert manager.post(f"{API}/sites", json=build.site()).status_code == 201
    assert manager.get(f"{API}/session").json()["csrf"] is None


def test_another_site_cannot_sign_somebody_in(nobody):
    answer = nobody.post(
        f"{API}/session",
        json={"name": MANAGER, "password": PASSWORD},
        headers={"Origin": "https://elsewhere.example"},
    )

    assert answer.status_code == 403
    assert COOKIE not in answer.cookies


@pytest.mark.parametrize(
    "authorization", ["Bearer", "Bearer x", "Basic bWFyYTp4", "Bearer ÿ", "nonsense"]
)
def test_a_token_that_is_none_is_refused_even_beside_a_good_cookie(browser, authorization):
    answer = browser.get(
        f"{API}/sites", headers={b"Authorization": authorization.encode("latin-1")}
    )

    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"] == "Bearer"


def test_people_choose_their_units_and_password(serving, manager):
    body = build.account(units="us")
    manager.post(f"{API}/accounts", json=body)
    with (
        serving.signed_in(body["name"], body["password"]) as here,
        serving.signed_in(body["name"], body["password"]) as elsewhere,
    ):
        assert here.patch(f"{API}/session", json={"units": "si"}).json()["units"] == "si"

        refused = here.patch(f"{API}/session", json={"new_password": "another long one"})
        assert refused.status_code == 401
        changed = here.patch(
            f"{API}/session",
            json={"current_password": body["password"], "new_password": "another long one"},
        )
        assert changed.status_code == 200

        assert here.get(f"{API}/session").status_code == 200
        assert elsewhere.get(f"{API}/session").status_code == 401
    with serving.client() as client:
        assert sign_in(client, body["name"], body["password"]).status_code == 401
        assert sign_in(client, body["name"], "another long one").status_code == 201


@pytest.mark.parametrize(
    "change", [{"disabled": True}, {"role": "viewer"}, {"password": "set by the manager"}]
)
def test_what_a_manager_takes_away_ends_at_once(serving, manager, change):
    body = build.account()
    account_id = manager.post(f"{API}/accounts", json=body).json()["id"]
    with serving.signed_in(body["name"], body["password"]) as client:
        manager.patch(f"{API}/accounts/{account_id}", json=change)

        assert client.get(f"{API}/session").status_code == 401


def test_a_disabled_account_cannot_sign_in_until_it_is_enabled(serving, manager):
    body = build.account()
    account_id = manager.post(f"{API}/accounts", json=body).json()["id"]
    with serving.client() as client:
        manager.patch(f"{API}/accounts/{account_id}", json={"disabled": True})
        assert sign_in(client, body["name"], body["password"]).status_code == 401
        manager.patch(f"{API}/accounts/{account_id}", json={"disabled": False})
        assert sign_in(client, body["name"], body["password"]).status_code == 201


def test_the_last_manager_stays(tmp_path):
    with serve(tmp_path) as fresh, fresh.signed_in() as client:
        (account,) = client.get(f"{API}/accounts").json()["items"]
        address = f"{API}/accounts/{account['id']}"

        for change in ({"disabled": True}, {"role": "crew"}):
            assert client.patch(address, json=change).status_code == 409
        assert client.get(address).json() == account


def test_no_answer_tells_a_password_or_its_hash(manager):
    body = build.account()
    account = manager.post(f"{API}/accounts", json=body)
    too_short = manager.post(f"{API}/accounts", json=build.account(password="abc123"))
    wrong_type = manager.post(f"{API}/accounts", json=build.account(password=["abc123"]))

    assert not {"password", "password_hash"} & account.json().keys()
    for answer in (account, too_short, wrong_type):
        assert "argon2" not in answer.text
        assert "abc123" not in answer.text
        assert body["password"] not in answer.text


@pytest.mark.parametrize(
    "body",
    [
        {"name": "x", "pasword": "abc-secret-123"},
        {"name": "x", "password": "y", "Password": "abc-secret-123"},
        {"name": {"password": "abc-secret-123"}, "password": "y"},
        [{"password": "abc-secret-123"}],
    ],
)
def test_a_secret_under_a_wrong_name_is_not_repeated(nobody, body):
    answer = nobody.post(f"{API}/session", json=body)

    assert answer.status_code == 422
    assert "abc-secret-123" not in answer.text


def test_a_token_is_told_once_and_works_until_revoked(serving, manager):
    made = manager.post(f"{API}/tokens", json=build.token(role="viewer")).json()
    secret = made.pop("secret")
    address = f"{API}/tokens/{made['id']}"
    assert manager.get(address).json() == made

    with serving.client() as client:
        client.headers["Authorization"] = f"Bearer {secret}"
        assert client.get(f"{API}/session").json()["role"] == "viewer"
        assert manager.patch(address, json={"revoked": True}).json()["revoked_at"] is not None
        assert client.get(f"{API}/session").status_code == 401
    again = manager.patch(address, json={"revoked": False})
    assert again.status_code == 422
    assert again.json()["errors"][0]["field"] == "revoked"


def test_the_database_holds_no_secret(serving, manager):
    made = manager.post(f"{API}/tokens", json=build.token()).json()
    with serving.signed_in() as client:
        cookie = client.cookies[COOKIE]
    kept = Path(serving.engine.url.database or "").parent.glob("drumkeep.db*")
    content = b"".join(path.read_bytes() for path in kept)

    assert made["name"].encode() in content
    assert made["secret"].encode() not in content
    assert cookie.encode() not in content
    assert PASSWORD.encode() not in content
