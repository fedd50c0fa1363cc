"""What a phone needs to go on without a connection."""

import pytest

from tests.fixtures.html import Page
from tests.fixtures.people import signed_in
from tests.fixtures.serving import nobody, serving

__all__ = ["nobody", "serving"]


def test_worker_is_looked_for_anew_and_is_script(nobody):
    answer = nobody.get("/worker.js")
    assert answer.headers["Content-Type"].startswith("text/javascript")
    assert answer.headers["Cache-Control"] == "no-cache"


def test_manifest_makes_the_pages_installable(nobody):
    # W3C Web Application Manifest: the members that a browser needs to offer it
    told = nobody.get("/app.webmanifest").json()
    assert {"name", "start_url", "display", "icons"} <= told.keys()
    assert nobody.get(told["icons"][0]["src"]).headers["Content-Type"] == "image/svg+xml"


@pytest.mark.parametrize(
    "path", ["/waiting", "/no-connection", "/no-connection/hookup", "/sign-in"]
)
def test_pages_without_anybody_bring_the_worker_along(nobody, path):
    page = Page(nobody.get(path).text)
    assert any("offline.js" in script.get("src", "") for script in page.all("script"))
    assert {"rel": "manifest", "href": "/app.webmanifest"} in page.all("link")


def test_nothing_to_press_is_offered_where_only_script_could_act_on_it(nobody):
    page = Page(nobody.get("/waiting").text)
    assert [button.get("id") for button in page.all("button") if "hidden" not in button] == []
    assert any(button.get("id") == "send" for button in page.all("button"))


def test_kept_pages_speak_the_language_of_whoever_is_signed_in(serving, nobody):
    with signed_in(serving, "crew") as person:
        told = {"csrf": person.csrf(), "next": "/floor", "language": "es"}
        assert person.client.post("/me/language", data=told).status_code == 303
        for path in ("/waiting", "/no-connection", "/no-connection/hookup", "/floor"):
            assert person.client.get(path).headers["Content-Language"] == "es"
    answer = nobody.get("/waiting")
    assert answer.headers["Content-Language"] == "en"
    assert '<html lang="en"' in answer.text
