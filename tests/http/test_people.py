"""People: let in, shut out, and signed in on phones by a code that works once."""

import re
from contextlib import contextmanager
from urllib.parse import urlsplit

import httpx
import pytest

from tests.builders import catalogue as build
from tests.fixtures.html import Page
from tests.fixtures.people import signed_in
from tests.fixtures.serving import serving

__all__ = ["serving"]

PHONE = "Mozilla/5.0 (Linux; Android 14; K) AppleWebKit/537.36 Chrome/126.0 Mobile Safari/537.36"


@pytest.fixture(scope="module")
def boss(serving):
    with signed_in(serving, "manager") as person:
        yield person


@pytest.fixture
def crew_name(boss) -> str:
    """Let a crew member without a password in, and return the name."""
    name = build.fresh("crew")
    form = boss.fill("/people", "/people", name=name, display_name="Cy", role="crew", password="")
    assert boss.send(form).status_code == 303
    return name


def code_for(boss, name: str) -> str:
    """Have a code made and return its path, as a camera would read it."""
    answer = boss.send(boss.fill("/people", f"/people/{name}/phone"))
    assert answer.status_code == 200
    found = re.search(r"http\S+/sign-in/once/[\w-]+", Page(answer.text).words)
    assert found is not None
    return urlsplit(found[0]).path


@contextmanager
def phone_with(serving, path: str):
    """Give a phone on which the code of the path was taken."""
    with serving.client() as phone:
        phone.headers["User-Agent"] = PHONE
        answer = phone.post(path)
        assert answer.status_code == 303
        assert answer.headers["Location"].startswith(("/floor", "/sign-in"))
        yield phone


def who(phone: httpx.Client) -> int:
    """Return the status that tells whether a phone is signed in."""
    return phone.get("/api/v1/session").status_code


def test_phone_is_signed_in_by_a_code_for_sixty_days_and_without_a_password(
    serving, boss, crew_name
):
    with serving.client() as phone:
        phone.headers["User-Agent"] = PHONE
        answer = phone.post(code_for(boss, crew_name))
        assert answer.headers["Location"] == "/floor"
        assert "Max-Age=5184000" in answer.headers["Set-Cookie"]
        assert phone.get("/floor").status_code == 200
        assert phone.get("/api/v1/session").json()["role"] == "crew"
    assert "Android phone" in boss.get("/people").words


def test_code_works_once_and_looking_at_it_does_not_use_it_up(serving, boss, crew_name):
    path = code_for(boss, crew_name)
    with serving.client() as preview:
        for _ in range(2):
            answer = preview.get(path)
            assert answer.status_code == 200, answer.headers
            assert "You are Cy?" in Page(answer.text).words
    with phone_with(serving, path) as first, phone_with(serving, path) as second:
        assert (who(first), who(second)) == (200, 401)


def test_new_code_takes_the_place_of_the_one_before(serving, boss, crew_name):
    before, after = code_for(boss, crew_name), code_for(boss, crew_name)
    with phone_with(serving, before) as first, phone_with(serving, after) as second:
        assert (who(first), who(second)) == (401, 200)


def test_lost_phone_is_signed_out_by_a_manager(serving, boss, crew_name):
    with phone_with(serving, code_for(boss, crew_name)) as phone:
        page = boss.get("/people")
        ends = f"/people/{crew_name}/devices/"
        (action,) = {form.action for form in page.forms if form.action.startswith(ends)}
        assert boss.send(page.form(action)).status_code == 303
        assert who(phone) == 401
        assert boss.send(page.form(action)).status_code == 404


def test_who_is_let_in_no_more_is_out_at_once_and_has_no_code(serving, boss, crew_name):
    with phone_with(serving, code_for(boss, crew_name)) as phone:
        unused = code_for(boss, crew_name)
        form = boss.fill("/people", f"/people/{crew_name}/change", disabled="yes")
        assert boss.send(form).status_code == 303
        assert who(phone) == 401
    with phone_with(serving, unused) as late:
        assert who(late) == 401
    form.action = f"/people/{crew_name}/phone"
    assert boss.send(form).status_code == 404


def test_faults_are_told_beside_what_was_typed(boss):
    form = boss.fill("/people", "/people", name="A b", display_name="Al", password="short")
    answer = boss.send(form)
    page = Page(answer.text)
    assert answer.status_code == 422
    assert "has fewer than 10 characters" in page.words
    assert page.form("/people").fields["display_name"] == "Al"
    assert page.form("/people").fields["password"] == ""


def test_last_manager_cannot_be_shut_out(boss):
    # The managers of other tests are there too: shut them all out but one, and try that one.
    names = [
        form.action.split("/")[2]
        for form in boss.get("/people").forms
        if form.action.endswith("/change") and form.fields.get("role") == "manager"
    ]
    answers = []
    for name in dict.fromkeys([*(n for n in names if n != boss.name), boss.name]):
        form = boss.fill("/people", f"/people/{boss.name}/change", disabled="yes")
        form.action = f"/people/{name}/change"
        answers.append((name, boss.send(form).status_code))
    assert answers[-1] == (boss.name, 409)
    for name, _ in answers[:-1]:
        form = boss.fill("/people", f"/people/{boss.name}/change", disabled="no")
        form.action = f"/people/{name}/change"
        assert boss.send(form).status_code == 303


def test_own_password_is_changed_and_other_devices_are_signed_out(serving):
    with signed_in(serving, "crew") as here, serving.client() as there:
        form = Page(there.get("/sign-in").text).form("/sign-in")
        form.fields |= {"name": here.name, "password": here.password}
        assert there.post(form.action, data=form.fields).status_code == 303

        wrong = here.fill("/me", "/me/password", current="not this one", password="nine red boats")
        answer = here.send(wrong)
        assert answer.status_code == 422
        assert "is not your password" in Page(answer.text).words

        right = here.fill("/me", "/me/password", current=here.password, password="nine red boats")
        assert here.send(right).status_code == 303
        assert "Where you are signed in" in here.get("/me").words
        assert there.get("/api/v1/session").status_code == 401


def test_own_device_is_signed_out_by_oneself(serving):
    with signed_in(serving, "crew") as here:
        page = here.get("/me")
        (form,) = [f for f in page.forms if "/devices/" in f.action]
        assert here.send(form).status_code == 303
        assert here.client.get("/api/v1/session").status_code == 401
