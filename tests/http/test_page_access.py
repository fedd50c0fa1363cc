"""Who gets to see pages and to post their forms, over real HTTP."""

from collections.abc import Iterator
from urllib.parse import parse_qs, urlsplit
from uuid import uuid4

import httpx
import pytest

from drumkeep.asgi.authentication import COOKIE
from drumkeep.domain.roles import Role
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import MANAGER, PASSWORD, manager, nobody, serve, serving
from tests.fixtures.yard import Yard, yard
from tests.http.who_may import routes

__all__ = ["manager", "nobody", "serving", "yard"]

LINKING = (
    "/floor",
    "/alarms",
    "/stock",
    "/sensors",
    "/gateways",
    "/receive",
    "/import",
    "/export",
    "/products",
    "/claims",
    "/pulls",
    "/move",
    "/hookup",
    "/labels",
    "/trace",
    "/stock/counts",
    "/stock/consumables",
    "/stock/losses",
    "/mappings",
    "/me",
)
"""Pages that lead to others."""

METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")


@pytest.fixture(scope="module")
def mara(serving) -> Iterator[Person]:
    with signed_in(serving, "manager") as person:
        yield person


def sign_in(client: httpx.Client, *, next: str = "/floor", **fields: str) -> httpx.Response:  # noqa: A002
    given = {"name": MANAGER, "password": PASSWORD, "next": next} | fields
    return client.post("/sign-in", data=given)


def test_other_methods_of_a_page_show_nothing_either(serving, nobody):
    for path in {path for _, path in routes(serving.app.routes)}:
        served = {method for method, of in routes(serving.app.routes) if of == path}
        for method in set(METHODS) - served:
            answer = nobody.request(method, path.replace("{", "").replace("}", ""))
            assert answer.status_code in (401, 404, 405), (method, path, answer.status_code)


@pytest.mark.parametrize(
    "path", ["/static/css/tokens.css", "/static/js/live.js", "/bokeh/js/bokeh.min.js"]
)
def test_static_files_are_open_and_kept(nobody, path):
    answer = nobody.get(path)
    assert answer.status_code == 200
    assert "max-age" in answer.headers["Cache-Control"]


@pytest.mark.parametrize(
    "path",
    ["/static/", "/static/css/", "/static/../app.py", "/static/%2e%2e/%2e%2e/app.py", "/bokeh/"],
)
def test_no_folder_and_nothing_beside_it_is_a_static_file(nobody, path):
    assert nobody.get(path).status_code in (401, 404)


def test_page_asked_for_is_shown_after_signing_in(serving):
    with serving.client() as client:
        sent = client.get("/alarms?x=1")
        asked = parse_qs(urlsplit(sent.headers["Location"]).query)["next"][0]
        form = Page(client.get(sent.headers["Location"]).text).form("/sign-in")
        assert form.fields["next"] == asked == "/alarms?x=1"
        answer = sign_in(client, next=asked)
        assert answer.status_code == 303
        assert answer.headers["Location"] == "/alarms?x=1"
        assert client.get(answer.headers["Location"]).status_code == 200


@pytest.mark.parametrize(
    "leads_away",
    [
        "//evil.example",
        "///evil.example",
        "/\\evil.example",
        "\\/evil.example",
        "/a\\..\\evil",
        "https://evil.example/",
        "http:evil.example",
        "javascript:alert(1)",
        "JaVaScRiPt:alert(1)",
        "data:text/html,x",
        " //evil.example",
        "\t//evil.example",
        "/\t/evil.example",
        "/\n/evil.example",
        "evil.example",
        "",
        "/é",
    ],
)
def test_next_never_leaves_the_site(serving, mara, leads_away):
    with serving.client() as client:
        shown = Page(client.get("/sign-in", params={"next": leads_away}).text)
        assert shown.form("/sign-in").fields["next"] == "/floor"
        answer = sign_in(client, next=leads_away)
        assert answer.headers["Location"] == "/floor"
    form = mara.fill("/me", "/me/units", next=leads_away)
    assert mara.send(form).headers["Location"] == "/floor"


@pytest.mark.parametrize("fields", [{"password": "wrong"}, {"name": "nobody"}, {"name": ""}])
def test_wrong_name_or_password_shows_the_form_again_with_the_name(nobody, fields):
    answer = sign_in(nobody, **fields)
    page = Page(answer.text)
    assert answer.status_code == 401
    assert COOKIE not in answer.cookies
    assert "Name or password is wrong." in page.words
    assert page.form("/sign-in").fields["name"] == fields.get("name", MANAGER)
    assert page.form("/sign-in").fields["password"] == ""


def test_guessing_on_the_page_is_slowed_down_and_says_for_how_long(tmp_path):
    with serve(tmp_path) as fresh, fresh.client() as client:
        for n in range(5):
            assert sign_in(client, password=f"guess {n}").status_code == 401
        closed = sign_in(client)
    assert closed.status_code == 429
    wait = closed.headers["Retry-After"]
    assert 0 < int(wait) <= 301
    assert f"Try again in {wait} seconds." in Page(closed.text).words


def test_form_of_another_site_cannot_sign_anybody_in(nobody):
    for origin in ("https://evil.example", "null"):
        answer = nobody.post(
            "/sign-in",
            data={"name": MANAGER, "password": PASSWORD},
            headers={"Origin": origin},
        )
        assert answer.status_code == 403
        assert COOKIE not in answer.cookies


def test_session_cookie_is_out_of_reach_of_scripts_other_sites_and_plain_http(
    tmp_path, monkeypatch
):
    monkeypatch.setenv("DRUMKEEP_PUBLIC_URL", "https://drums.example")
    with serve(tmp_path) as fresh, fresh.client() as client:
        cookie = sign_in(client).headers["Set-Cookie"]
    assert {"HttpOnly", "Secure", "SameSite=lax", "Path=/"} <= set(cookie.split("; "))


def test_signing_out_ends_the_session_itself(serving):
    with serving.client() as client:
        sign_in(client)
        kept = dict(client.cookies)
        form = Page(client.get("/me").text).form("/sign-out")
        answer = client.post("/sign-out", data=form.fields)
        assert answer.headers["Location"] == "/sign-in"
        assert COOKIE not in client.cookies
    with httpx.Client(base_url=serving.url, cookies=kept) as thief:
        assert thief.get("/floor").status_code == 303


def page_forms(yard: Yard) -> dict[str, dict[str, str]]:
    """Return every address that a page posts to, with fields that would be taken."""
    tag = yard.receive()["tag"]
    return {
        "/sign-out": {},
        "/me/units": {"units": "si"},
        "/me/language": {"language": "es"},
        "/me/password": {"current": "x", "password": "nine red boats"},
        "/me/company": {},
        "/me/company/1/remove": {},
        "/me/tokens": {"name": "scale", "scopes": "read"},
        "/me/tokens/1/revoke": {},
        "/tokens": {"name": "scale", "role": "crew", "scopes": "read"},
        "/tokens/999999/revoke": {},
        "/people": {"name": "cy", "display_name": "Cy", "role": "crew"},
        "/people/mara/phone": {},
        "/people/mara/change": {"disabled": "yes"},
        "/people/mara/devices/0000/end": {},
        f"/drums/{tag}/undo": {"event": str(uuid4())},
        "/move": {"drum": f"{tag}@{yard.place('hall')}", "to": yard.place("van"), "do": "move"},
        f"/moves/{uuid4()}/undo": {"drum": tag},
        f"/places/{yard.place('hall')}/capacity": {"capacity": "40"},
        f"/drums/{tag}/events": {"id": str(uuid4()), "kind": "held", "reason": "x"},
        f"/alarms/{uuid4()}/acknowledge": {},
        f"/places/{yard.place('hall')}/film": {"percent": "120"},
        f"/places/{yard.place('hall')}/setting": {"motion": "fan"},
        "/sensors/import": {},
        "/import": {},
        "/strays/1/adopt": {},
        "/mappings": {},
        "/mappings/shed/delete": {},
        "/sparkplug": {},
        "/sparkplug/1/delete": {},
        "/strays/1/forget": {},
        "/gateways/north/attic/credential": {},
        "/gateways/north/attic/credential/revoke": {},
        f"/products/{yard.iso}/points": {},
        f"/products/{yard.iso}/system": {"system": "Alder"},
        "/notices/mara": {"url": "jsons://hooks.example.com/x"},
        "/notices/mara/1/least": {"least": "low"},
        "/notices/mara/1/test": {},
        "/notices/mara/1/remove": {},
        "/labels": {"drums": tag, "size": "4x6in", "start": "1"},
        "/photos": {"drum": tag},
        "/claims": {"id": str(uuid4()), "drums": tag},
        "/claims/1/notes": {"id": str(uuid4()), "text": "x"},
        "/stock/prices": {"product": yard.iso, "amount": "1.85", "per": "lb"},
        "/stock/counts": {"id": str(uuid4()), "place": yard.place("hall")},
        "/stock/counts/1/seen": {"scan": tag},
        "/stock/counts/1/finish": {},
        "/stock/counts/1/mend": {"id": str(uuid4()), "tag": tag, "mend": "leave"},
        "/stock/consumables": {"place": yard.place("hall"), "kind": "other", "unit": "l"},
        "/stock/consumables/1/entries": {"deed": "took", "quantity": "1"},
        "/stock/consumables/1/change": {"minimum": "2"},
        "/rig-checks": {"place": yard.place("hall"), "lubricant": "fine"},
        "/pulls": {},
        **{f"/pulls/1/{deed}": {} for deed in ("take", "back", "swap", "fill", "close")},
        "/hookup": {"first": tag, "second": tag, "id": str(uuid4())},
        "/receive": {"product": yard.iso, "count": "1"},
    }


def test_page_forms_are_all_the_forms_there_are(serving, yard):
    posts = {path for method, path in routes(serving.app.routes) if method == "POST"}
    pages = {path for path in posts if not path.startswith(("/api/", "/sign-in"))}
    assert len(pages) == len(page_forms(yard))


def test_form_without_the_sessions_own_token_changes_nothing_and_says_so(serving, yard, mara):
    with signed_in(serving, "manager") as other:
        others = other.csrf()
    for action, fields in page_forms(yard).items():
        for token in (None, "", "x", others, mara.csrf() + "x"):
            given = fields if token is None else fields | {"csrf": token}
            answer = mara.client.post(action, data=given)
            assert answer.status_code == 403, (action, token)
            page = Page(answer.text)
            assert "out of date" in page.words
            assert "Nothing was changed." in page.words
            assert page.all("a")[-1]["href"].startswith("/")
    assert mara.get("/me").form("/me/units").fields["units"] == "us"
    for drum in yard.client.get("/api/v1/drums").json()["items"]:
        assert drum["readiness"]["state"] != "on_hold"


def test_bearer_token_reads_pages_and_posts_no_form(serving, yard):
    with serving.client(Role.MANAGER) as program:
        assert program.get("/floor").status_code == 200
        for action, fields in page_forms(yard).items():
            answer = program.post(action, data=fields | {"csrf": ""})
            assert answer.status_code == 403, action
            assert "/api/v1" in Page(answer.text).words


def test_other_sites_may_not_frame_script_or_style_any_page(mara, nobody):
    answers = [mara.client.get(path) for path in ("/floor", "/me", "/alarms", "/none")]
    answers += [nobody.get("/sign-in")]
    for answer in answers:
        told = answer.headers["Content-Security-Policy"]
        policy = dict(part.strip().split(" ", 1) for part in told.split(";"))
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == "'self'"
        assert policy["frame-ancestors"] == "'none'"
        assert policy["base-uri"] == "'none'"
        assert policy["form-action"] == "'self'"
        assert "unsafe" not in told
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Cache-Control"] == "no-store"
    nonces = {answer.headers["Content-Security-Policy"] for answer in answers}
    assert len(nonces) == len(answers), "a nonce was used twice"


def test_where_there_is_no_page_it_says_so_and_leads_back(mara):
    page = mara.get("/none/such", status=404)
    assert "There is no page at this address." in page.words
    assert page.all("a")[-1]["href"] == "/floor"


def test_browsers_that_look_for_a_mark_find_one(nobody):
    answer = nobody.get("/favicon.ico", follow_redirects=True)
    assert answer.status_code == 200
    assert answer.headers["Content-Type"].startswith("image/svg+xml")


@pytest.mark.parametrize("role", [Role.VIEWER, Role.CREW, Role.DISPATCHER])
def test_no_page_leads_a_role_to_a_refusal(serving, yard, role):
    tag = yard.receive()["tag"]
    refused = 403
    links: dict[str, str] = {}
    with signed_in(serving, role) as person:
        for path in [*LINKING, f"/drums/{tag}"]:
            answer = person.client.get(path)
            if answer.status_code == refused:
                continue
            assert answer.status_code == 200, path
            links |= {
                link["href"].partition("#")[0]: path
                for link in Page(answer.text).all("a")
                if link.get("href", "").startswith("/")
            }
        assert len(links) > 15
        denied = {
            (where, link)
            for link, where in links.items()
            if person.client.get(link).status_code == refused
        }
    assert denied == set()
