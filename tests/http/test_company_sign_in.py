"""Signing in with a company's account at a real OpenID provider, and what must not get in."""

import base64
import hmac
import json
import os
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest
from joserfc.jwk import RSAKey

from drumkeep.app import make_admission
from drumkeep.asgi.authentication import COOKIE
from drumkeep.domain.company_sign_in import Admission
from drumkeep.domain.roles import Role
from drumkeep.settings import load
from tests.builders import catalogue as build
from tests.fixtures.answers import stored
from tests.fixtures.html import Page
from tests.fixtures.openid import CLIENT, SECRET, openid_provider
from tests.fixtures.people import signed_in
from tests.fixtures.ports import free_port
from tests.fixtures.serving import serve

START = "/sign-in/company"
LETS_IN = Admission(unknown=Role.VIEWER)


@pytest.fixture(scope="module")
def idp():
    with openid_provider() as provider:
        yield provider


@pytest.fixture(scope="module")
def serving(idp, tmp_path_factory):
    folder = tmp_path_factory.mktemp("company")
    (folder / "client-secret").write_text(SECRET)
    environment = {
        "DRUMKEEP_OIDC_ISSUER": idp.issuer,
        "DRUMKEEP_OIDC_CLIENT_ID": CLIENT,
        "DRUMKEEP_OIDC_CLIENT_SECRET_FILE": str(folder / "client-secret"),
        "DRUMKEEP_OIDC_ROLE_CLAIM": "groups",
        "DRUMKEEP_OIDC_ROLES": "leads=manager,sprayers=crew",
        # never asked: the tests follow the way back to where the service really listens
        "DRUMKEEP_PUBLIC_URL": "http://drums.example",
    }
    with pytest.MonkeyPatch.context() as patch:
        for name, value in environment.items():
            patch.setenv(name, value)
        with serve(folder) as running:
            yield running


@pytest.fixture(autouse=True)
def as_usual(idp, serving):
    """Let unknown people in as viewers, and have the provider tell the truth."""
    idp.person, idp.spoil, idp.forge = {"sub": build.fresh("s")}, {}, None
    serving.app.state.services.throttle_hosts._failed.clear()
    admit(serving, LETS_IN)


def admit(serving, admission):
    object.__setattr__(serving.app.state.services, "admission", admission)


def way_back(started: httpx.Response) -> str:
    """Go to the provider as a browser would; return path and query of the way back."""
    assert started.status_code == 303, started.text
    back = httpx.get(started.headers["Location"])
    assert back.status_code == 303, back.text
    address = urlsplit(back.headers["Location"])
    assert (address.netloc, address.path) == ("drums.example", "/sign-in/company/back")
    return f"{address.path}?{address.query}"


def come(client: httpx.Client, *, path: str = START) -> httpx.Response:
    return client.get(way_back(client.get(path)))


def who(client):
    answer = client.get("/api/v1/session")
    return answer.json() if answer.status_code == 200 else None


def refused(answer, status=401):
    """Check that nobody was let in, and that a person is told on the page of the form."""
    assert answer.status_code == status, answer.text
    assert COOKIE not in answer.cookies
    page = Page(answer.text)
    assert page.form("/sign-in").method == "post"
    assert any(a.get("role") == "alert" for a in page.all("p"))


def test_somebody_unknown_is_let_in_with_the_least_role_and_known_the_next_time(serving, idp):
    idp.person |= {"name": "Sam Ortiz", "preferred_username": "Sam.Ortiz@pine.example"}
    names = []
    for _ in range(2):
        with serving.client() as client:
            answer = come(client, path=f"{START}?next=/alarms")
            assert (answer.status_code, answer.headers["Location"]) == (303, "/alarms")
            assert "Max-Age=86400" in answer.headers["Set-Cookie"]
            told = who(client)
            assert (told["display_name"], told["role"]) == ("Sam Ortiz", "viewer")
            names.append(told["name"])
    assert names[0] == names[1] == "sam-ortiz"


def test_what_is_asked_of_the_provider_is_new_each_time_and_has_a_challenge(serving):
    with serving.client() as client:
        one, other = (
            {
                k: v[0]
                for k, v in parse_qs(urlsplit(client.get(START).headers["Location"]).query).items()
            }
            for _ in range(2)
        )
    for name in ("state", "nonce", "code_challenge"):
        assert len(one[name]) >= 43
        assert one[name] != other[name]
    assert one["code_challenge_method"] == "S256"
    assert one["response_type"] == "code"


def test_sign_in_page_offers_it_and_goes_on_to_the_page_asked_for(serving):
    with serving.client() as client:
        links = [a["href"] for a in Page(client.get("/sign-in?next=/alarms?x=1").text).all("a")]
    assert f"{START}?next=/alarms%3Fx%3D1" in links


def test_two_people_of_one_name_get_accounts_of_their_own(serving, idp):
    names = set()
    for _ in range(2):
        idp.person = {"sub": build.fresh("s"), "preferred_username": "pat"}
        with serving.client() as client:
            come(client)
            names.add(who(client)["name"])
    assert names == {"pat", "pat-2"}


def other_key(idp, claims):
    return idp.signed(claims, key=RSAKey.generate_key(2048, {"kid": idp.key.kid}))


def part(content: bytes) -> str:
    return base64.urlsafe_b64encode(content).decode().rstrip("=")


def unsigned(_idp, claims):
    return f"{part(json.dumps({'alg': 'none'}).encode())}.{part(json.dumps(claims).encode())}."


def by_public_key_as_secret(idp, claims):
    # the classic confusion: the published key as the secret of an HMAC; our library would not
    # sign so, and so it is done by hand
    header = {"alg": "HS256", "kid": idp.key.kid}
    signed = f"{part(json.dumps(header).encode())}.{part(json.dumps(claims).encode())}"
    secret = idp.key.as_pem(private=False)
    return f"{signed}.{part(hmac.digest(secret, signed.encode(), 'sha256'))}"


FORGED = {
    "signed by another key": other_key,
    "not signed": unsigned,
    "signed with the public key": by_public_key_as_secret,
    "no token": lambda _idp, _claims: "x.y.z",
    "empty": lambda _idp, _claims: "",
}


@pytest.mark.parametrize("forge", FORGED.values(), ids=FORGED)
def test_a_token_that_the_provider_did_not_sign_opens_nothing(serving, idp, forge):
    idp.forge = lambda claims: forge(idp, claims)
    before = stored(serving)["session"]
    with serving.client() as client:
        refused(come(client))
    assert stored(serving)["session"] == before


SPOILT = {
    "another issuer": {"iss": "https://evil.example"},
    "for another client": {"aud": "another-client"},
    "for several, and by another": {"aud": [CLIENT, "another"], "azp": "another"},
    "of another sign-in": {"nonce": "a nonce of somebody else's sign-in"},
    "without a nonce": {"nonce": None},
    "over an hour ago": {"iat": 1_500_000_000, "exp": 1_500_000_300},
    "without an end": {"exp": None},
    "of the future": {"nbf": 4_000_000_000},
    "without a subject": {"sub": None},
    "of an empty subject": {"sub": ""},
    "of another access token": {"at_hash": "AAAAAAAAAAAAAAAAAAAAAA"},
}


@pytest.mark.parametrize("spoil", SPOILT.values(), ids=SPOILT)
def test_a_token_that_is_not_for_us_now_and_this_sign_in_opens_nothing(serving, idp, spoil):
    idp.spoil = spoil
    with serving.client() as client:
        refused(come(client))


def test_a_way_back_is_good_once_and_in_the_browser_where_it_began(serving):
    with serving.client() as client, serving.client() as other:
        back = way_back(client.get(START))
        refused(other.get(back))
        # what another browser brought is used up: whoever began begins again
        refused(client.get(back))
        good = way_back(client.get(START))
        assert client.get(good).status_code == 303
        refused(client.get(good))


@pytest.mark.parametrize(
    "query",
    ["", "?state=x&code=y", "?code=y", "?error=access_denied", "?state=&code="],
)
def test_a_way_back_from_nowhere_is_refused(serving, query):
    with serving.client() as client:
        refused(client.get(f"/sign-in/company/back{query}"))


def test_answer_of_another_issuer_is_refused(serving):
    with serving.client() as client:
        back = way_back(client.get(START))
        address = back.partition("&iss=")[0] + "&iss=https%3A%2F%2Fevil.example"
        refused(client.get(address))


def test_keys_may_change_between_two_sign_ins(serving, idp):
    for _ in range(2):
        with serving.client() as client:
            assert come(client).status_code == 303
        idp.rotate()


def test_unknown_people_are_refused_unless_the_service_is_set_to_let_them_in(serving):
    admit(serving, Admission())
    before = stored(serving)["account"]
    with serving.client() as client:
        refused(come(client), status=403)
    assert stored(serving)["account"] == before


def test_only_verified_addresses_of_the_domains_are_let_in(serving, idp):
    admit(serving, Admission(unknown=Role.CREW, domains=frozenset({"pine.example"})))
    for email, verified in (
        ("sam@pine.example", False),
        ("sam@pine.example", None),
        ("sam@pine.example", "true"),
        ("sam@evil.example", True),
        ("sam@pine.example.evil.example", True),
        ("sam@notpine.example", True),
    ):
        idp.person |= {"email": email, "email_verified": verified}
        with serving.client() as client:
            refused(come(client), status=403)
    idp.person |= {"email": "Sam@Pine.example", "email_verified": True}
    with serving.client() as client:
        assert come(client).status_code == 303


def test_an_address_alone_opens_no_account_of_somebody_else(serving, idp):
    for subject in ("a", "b"):
        idp.person = {"sub": f"{build.fresh('s')}-{subject}", "email_verified": True} | {
            "email": "lee@pine.example"
        }
        with serving.client() as client:
            come(client)
            name = who(client)["name"]
    assert name == "lee-2"


def test_the_providers_groups_give_the_role_and_take_it(serving, idp):
    admit(
        serving,
        Admission(unknown=Role.VIEWER, roles={"leads": Role.DISPATCHER, "sprayers": Role.CREW}),
    )
    for groups, role in (
        (["sprayers", "leads"], "dispatcher"),
        ("sprayers", "crew"),
        (["others"], "viewer"),
        (None, "viewer"),
    ):
        idp.person["groups"] = groups
        with serving.client() as client:
            come(client)
            assert who(client)["role"] == role


@pytest.mark.usefixtures("serving")
def test_settings_name_the_groups_and_the_claim():
    # as the environment of these tests has them
    assert make_admission(load()).roles == {"leads": Role.MANAGER, "sprayers": Role.CREW}


@pytest.mark.parametrize("password", ["", "!", "nobody signs in with this"])
def test_no_password_opens_an_account_that_has_none(serving, password):
    with serving.client() as client:
        come(client)
        name = who(client)["name"]
    with serving.client() as client:
        answer = client.post("/sign-in", data={"name": name, "password": password})
        assert answer.status_code == 401


def test_whose_account_is_closed_stays_out(serving):
    with serving.client() as client, serving.client(Role.MANAGER) as manager:
        come(client)
        name = who(client)["name"]
        accounts = manager.get("/api/v1/accounts", params={"limit": 200}).json()["items"]
        (found,) = [a for a in accounts if a["name"] == name]
        manager.patch(f"/api/v1/accounts/{found['id']}", json={"disabled": True})
        assert who(client) is None
        refused(come(client), status=403)


def test_one_links_the_company_account_on_ones_own_page_and_unlinks_it(serving, idp):
    admit(serving, Admission())
    with signed_in(serving, "crew") as cy:
        page = Page(cy.send(cy.fill("/me", "/me/company")).text)
        (away,) = [a["href"] for a in page.all("a") if a["href"].startswith(idp.issuer)]
        back = urlsplit(httpx.get(away).headers["Location"])
        answer = cy.client.get(f"{back.path}?{back.query}")
        assert (answer.status_code, answer.headers["Location"]) == (303, "/me")
        with serving.client() as client:
            assert come(client).status_code == 303
            assert who(client)["name"] == cy.name

        page = cy.get("/me")
        (action,) = {f.action for f in page.forms if f.action.endswith("/remove")}
        assert cy.send(page.form(action)).status_code == 303
        with serving.client() as client:
            refused(come(client), status=403)


def test_what_opens_one_account_cannot_be_linked_to_another(serving, idp):
    with serving.client() as client:
        come(client)
    with signed_in(serving, "crew") as cy:
        page = Page(cy.send(cy.fill("/me", "/me/company")).text)
        (away,) = [a["href"] for a in page.all("a") if a["href"].startswith(idp.issuer)]
        back = urlsplit(httpx.get(away).headers["Location"])
        assert cy.client.get(f"{back.path}?{back.query}").status_code == 401


def test_that_somebody_came_this_way_is_on_record(serving, idp):
    with serving.client() as client, serving.client(Role.MANAGER) as manager:
        come(client)
        name = who(client)["name"]
        told = manager.get("/api/v1/audit", params={"thing": name}).json()["items"]
        idp.forge = lambda _claims: "x.y.z"
        come(client)
        failed = manager.get("/api/v1/audit", params={"did": "company sign-in failed"}).json()
    assert [e["did"] for e in told] == [
        "signed in with the company's account",
        "linked a company sign-in",
    ]
    assert failed["items"]


def test_with_the_provider_away_one_is_told_and_can_use_a_password(tmp_path, monkeypatch):
    monkeypatch.setenv("DRUMKEEP_OIDC_ISSUER", f"http://127.0.0.1:{free_port()}")
    monkeypatch.setenv("DRUMKEEP_OIDC_CLIENT_ID", CLIENT)
    monkeypatch.setenv("DRUMKEEP_PUBLIC_URL", "http://drums.example")
    with serve(tmp_path) as alone, alone.client() as client:
        answer = client.get(START)
    refused(answer, status=503)
    assert "cannot be reached" in Page(answer.text).words


def test_where_no_provider_is_set_there_is_nothing_to_see(tmp_path, monkeypatch):
    for name in [name for name in os.environ if name.startswith("DRUMKEEP_OIDC_")]:
        monkeypatch.delenv(name)
    with serve(tmp_path) as plain, plain.client() as client:
        assert client.get(START).status_code == 404
        assert client.get("/sign-in/company/back?state=x").status_code == 404
        assert START not in client.get("/sign-in").text
