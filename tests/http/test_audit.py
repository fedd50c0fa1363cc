"""Who did what from where: on record with the deed, searchable, and never changed."""

import csv
import io

import pytest
from sqlmodel import select

from drumkeep.domain.roles import Role
from drumkeep.storage.tables.audit import AuditEntry
from drumkeep.storage.transaction import reading
from tests.builders import catalogue as build
from tests.fixtures.answers import check_problem
from tests.fixtures.html import Page
from tests.fixtures.people import signed_in
from tests.fixtures.serving import manager, nobody, serving
from tests.fixtures.yard import yard

__all__ = ["manager", "nobody", "serving", "yard"]
API = "/api/v1"


@pytest.fixture(scope="module")
def boss(serving):
    with signed_in(serving, "manager") as person:
        yield person


def entries(client, **query):
    answer = client.get(f"{API}/audit", params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()["items"]


def fields(entry, of=None):
    return {
        name: pair
        for part in entry["parts"]
        for name, pair in part["fields"].items()
        if of in (None, part["of"])
    }


def everything(serving) -> str:
    """Return all that the audit holds, as text."""
    with reading(serving.engine) as tx:
        rows = tx.session.exec(select(AuditEntry)).all()
        return "\n".join(row.model_dump_json() for row in rows)


def test_what_changed_is_told_before_and_after_with_who_and_from_where(serving, yard, manager):
    tag = yard.receive()["tag"]
    with signed_in(serving, "crew") as cy:
        headers = {"User-Agent": "Mozilla/5.0 (Linux; Android 14; K)"}
        form = cy.fill(f"/drums/{tag}", f"/drums/{tag}/events", kind="held", reason="bulged")
        answer = cy.client.post(form.action, data=form.fields, headers=headers)
        assert answer.status_code == 303, answer.text

        newest = entries(manager, thing=tag)[0]

    assert (newest["actor"], newest["role"], newest["way"]) == (cy.name, "crew", "page")
    assert (newest["did"], newest["kind"], newest["thing"]) == ("held", "drum", tag)
    assert "Android" in newest["device"]
    assert newest["address"] == "127.0.0.1"
    assert newest["session"]
    assert fields(newest, "drum_event")["data.reason"] == [None, "bulged"]


def test_a_move_tells_the_places_by_their_names(yard, manager):
    tag = yard.receive()["tag"]
    yard.record(tag, "moved", to=yard.place("van"))

    newest = entries(manager, thing=tag)[0]

    assert newest["did"] == "moved"
    assert newest["actor"] == "test manager"
    assert newest["way"] == "api"
    assert fields(newest, "drum")["place"] == [yard.place("hall"), yard.place("van")]


def test_the_page_calls_places_by_their_names_and_not_by_their_codes(yard, boss):
    tag = yard.receive()["tag"]
    name = yard.client.get(f"{API}/places/{yard.place('van')}").json()["name"]
    yard.record(tag, "moved", to=yard.place("van"))

    page = Page(boss.client.get("/audit", params={"thing": tag, "did": "moved"}).text).words

    assert name in page
    assert yard.place("van") not in page


def test_a_deed_that_was_refused_leaves_no_entry(serving, yard, manager):
    tag = yard.receive()["tag"]
    before = len(entries(manager, thing=tag))
    with serving.client(Role.VIEWER) as viewer:
        check_problem(yard.send(tag, yard.event("opened", other=tag), client=viewer), 403)
    clash = manager.post(f"{API}/sites", json=build.site(code=yard.site))
    check_problem(clash, 409)

    assert len(entries(manager, thing=tag)) == before
    assert entries(manager, thing=yard.site, did="made", limit=200)[-1]["kind"] == "site"
    assert len([e for e in entries(manager, thing=yard.site) if e["kind"] == "site"]) == 1


def test_sending_the_same_event_again_is_one_deed(yard, manager):
    tag = yard.receive()["tag"]
    body = yard.event("inspected", other=tag)
    assert [yard.send(tag, body).status_code for _ in range(2)] == [201, 201]

    assert len(entries(manager, thing=tag, did="inspected")) == 1


def test_looking_and_readings_leave_no_entry(yard, manager, boss):
    before = entries(manager, limit=1)[0]["id"]
    yard.publish("dock", c=9.5, first_h=1.0)
    assert manager.get(f"{API}/drums").status_code == 200
    boss.get("/floor")
    yard.advance()

    assert entries(manager, limit=1)[0]["id"] == before


def test_signing_in_and_out_and_failing_to_are_on_record(serving, manager):
    with signed_in(serving, "crew") as cy:
        for name, password in ((cy.name, "not this one"), ("pass word typed as name", "x")):
            answer = cy.client.post("/sign-in", data={"name": name, "password": password})
            assert answer.status_code == 401
        form = cy.fill("/me", "/sign-out")
        cy.send(form)

    own = [e["did"] for e in entries(manager, who=cy.name)]
    assert own == ["signed out", "sign-in failed", "signed in"]
    assert "pass word typed" not in everything(serving)
    assert entries(manager, did="sign-in failed")[0]["actor"] == ""


def test_which_device_was_signed_out_by_whom_is_told(serving, manager, boss):
    with signed_in(serving, "crew") as cy, serving.client() as phone:
        phone.headers["User-Agent"] = "a phone that was lost"
        phone.post("/sign-in", data={"name": cy.name, "password": cy.password})
        page = boss.get("/people")
        actions = [f.action for f in page.forms if f.action.startswith(f"/people/{cy.name}/dev")]
        assert len(actions) == 2
        assert boss.send(page.form(actions[0])).status_code == 303

        newest = entries(manager, thing=cy.name)[0]

    assert (newest["actor"], newest["did"]) == (boss.name, "ended a session")
    assert fields(newest)["user_agent"] == ["a phone that was lost"] * 2


def test_what_is_done_to_accounts_is_named(manager):
    body = build.account()
    account = manager.post(f"{API}/accounts", json=body).json()
    address = f"{API}/accounts/{account['id']}"
    for change in (
        {"role": "viewer"},
        {"password": "a new long password"},
        {"disabled": True},
        {"disabled": False},
    ):
        assert manager.patch(address, json=change).status_code == 200

    told = entries(manager, thing=body["name"])
    assert [e["did"] for e in told] == [
        "let in again",
        "let in no more",
        "set a password",
        "changed a role",
        "made",
    ]
    assert fields(told[3])["role"] == [body["role"], "viewer"]
    assert fields(told[2])["password_hash"] == ["(not shown)", "(set anew, not shown)"]


def test_no_secret_is_on_record(serving, manager, boss):
    body = build.account()
    manager.post(f"{API}/accounts", json=body)
    token = manager.post(f"{API}/tokens", json=build.token()).json()
    form = boss.fill("/people", f"/people/{body['name']}/phone")
    words = Page(boss.send(form).text).words
    code = words.split("/sign-in/once/")[1].split()[0]
    notice = {"account": boss.name, "url": "jsons://hooks.example.com/s3cret"}
    manager.post(f"{API}/notice-addresses", json=notice)

    kept = everything(serving)

    assert token["name"] in kept
    for secret in (body["password"], token["secret"], code, "argon2", "s3cret", boss.password):
        assert secret not in kept
    with reading(serving.engine) as tx:
        for (identity,) in tx.session.connection().exec_driver_sql("SELECT id FROM session"):
            assert identity not in kept


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE audit_entry SET actor = 'somebody else'",
        "DELETE FROM audit_entry",
        "DELETE FROM audit_entry WHERE id = (SELECT max(id) FROM audit_entry)",
    ],
)
def test_the_database_itself_refuses_to_change_what_is_on_record(serving, manager, statement):
    manager.post(f"{API}/sites", json=build.site())
    before = everything(serving)

    with pytest.raises(Exception, match="is kept as it was written"), serving.engine.begin() as c:
        c.exec_driver_sql(statement)

    assert everything(serving) == before


def test_the_search_narrows_by_person_deed_thing_time_and_words(yard, manager, boss):
    one, other = yard.receive()["tag"], yard.receive()["tag"]
    reason = build.fresh("odd-smell")
    yard.record(one, "held", reason=reason)
    yard.record(other, "held", reason="cold")

    assert [e["thing"] for e in entries(manager, text=reason.upper())] == [one]
    assert {e["thing"] for e in entries(manager, thing=one.replace("-", "").lower())} == {one}
    assert [e["thing"] for e in entries(manager, did="held", who="test manager")][:2] == [
        other,
        one,
    ]
    at = entries(manager, text=reason)[0]["at"]
    assert entries(manager, text=reason, since=at)
    assert not entries(manager, text=reason, until=at)
    # signs of the query language are only signs
    assert not entries(manager, thing="%")
    assert not entries(manager, text="_" * 9)

    page = boss.get(f"/audit?thing={one}")
    assert reason in page.words
    assert other not in page.words
    assert {"href": f"/drums/{one}"} in page.all("a")


@pytest.mark.parametrize("day", ["0000-00-00", "0001-01-01", "9999-12-31", "25 Nov"])
def test_a_day_that_is_none_is_told_and_not_passed_over(boss, day):
    page = boss.get(f"/audit?until={day}")
    assert "is not a day" in page.words
    assert day in page.words
    problem = boss.client.get(f"/audit.csv?since={day}")
    assert problem.status_code == 422


def test_the_list_is_paged_and_given_as_a_file(yard, manager, boss):
    tag = yard.receive()["tag"]
    for n in range(3):
        yard.record(tag, "inspected", note=f"=look {n}")

    first = manager.get(f"{API}/audit", params={"thing": tag, "limit": 2}).json()
    rest = manager.get(
        f"{API}/audit", params={"thing": tag, "limit": 2, "cursor": first["next_cursor"]}
    ).json()
    ids = [e["id"] for e in first["items"] + rest["items"]]
    assert len(ids) == 4
    assert ids == sorted(ids, reverse=True)
    assert rest["next_cursor"] is None

    file = boss.client.get(f"/audit.csv?thing={tag}")
    rows = list(csv.DictReader(io.StringIO(file.content.decode("utf-8-sig"))))
    assert all(row["at"] for row in rows)
    assert [row["thing"] for row in rows] == [tag] * 4
    assert "note: - -> =look 2" in rows[0]["field"]
    assert not any(cell.startswith("=") for row in rows for cell in row.values())


def test_a_drums_page_leads_a_manager_to_its_entries(serving, yard, boss):
    tag = yard.receive()["tag"]
    assert {"href": f"/audit?thing={tag}"} in boss.get(f"/drums/{tag}").all("a")
    with signed_in(serving, "crew") as cy:
        assert f"/audit?thing={tag}" not in str(cy.get(f"/drums/{tag}").all("a"))


def test_where_one_is_behind_a_trusted_proxy_the_address_is_what_it_says(manager):
    site = build.site()
    # the test's server trusts 127.0.0.1, as the service does by default
    manager.post(f"{API}/sites", json=site, headers={"X-Forwarded-For": "192.0.2.44"})

    assert entries(manager, thing=site["code"])[0]["address"] == "192.0.2.44"


def test_a_form_that_fails_half_way_leaves_neither_row_nor_entry(manager, boss):
    name = build.fresh("half")
    form = boss.fill("/people", "/people", name=name, display_name="X", role="crew", password="1")
    assert boss.send(form).status_code == 422

    assert entries(manager, thing=name) == []
