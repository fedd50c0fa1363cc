"""The floor over real HTTP: filters, table, groups, tasks and the air ahead."""

import re
from collections.abc import Iterator
from urllib.parse import urlencode

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drumkeep.web import floor
from drumkeep.web.floor import VIEW_COOKIE
from tests.builders import catalogue
from tests.builders.stock import ago
from tests.fixtures.elsewhere import look_at_alarms
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import LOT, yard

__all__ = ["manager", "serving", "yard"]

pytestmark = [pytest.mark.usefixtures("stock"), pytest.mark.both_stores]
TAG = re.compile(r"[A-Z2-9]{3}-[A-Z2-9]{3}")


@pytest.fixture(scope="module")
def stock(yard) -> dict[str, str]:
    """Return drums by what they are: every readiness, both sides, two lots, four places."""
    lot = catalogue.lot(yard.iso, code="L-9", made_on=ago(24.0 * 400)[:10])
    assert yard.client.post("/api/v1/lots", json=lot).status_code == 201
    lean_to = catalogue.place(yard.site, code="lean-to")  # no sensor
    assert yard.client.post("/api/v1/places", json=lean_to).status_code == 201
    room, van = yard.place("room"), yard.place("van")
    drums = {
        "ready": yard.receive(place=room, liquid_c=27.0),
        "ready partial": yard.receive(place=room, liquid_c=27.0, net_kg=80.0),
        "too cold": yard.receive(liquid_c=18.0),
        "too cold in the van": yard.receive(place=van, liquid_c=12.0, at=ago(4.0)),
        "too warm": yard.receive(product=yard.resin, place=room, liquid_c=40.0),
        "held": yard.receive(product=yard.resin, liquid_c=20.0),
        "expired": yard.receive(lot="L-9", place=room, liquid_c=27.0),
        "unknown": yard.receive(product=yard.resin, place=f"{yard.site}/lean-to", liquid_c=None),
    }
    tags = {name: drum["tag"] for name, drum in drums.items()}
    yard.record(tags["held"], "held", reason="x")
    yard.record(tags["too warm"], "vented")  # else it is kept off for its pressure
    look_at_alarms(yard)
    return tags


@pytest.fixture(scope="module")
def boss(serving) -> Iterator[Person]:
    with signed_in(serving, "manager") as person:
        yield person


def rows(person: Person, **query: str) -> list[str]:
    """Return the tags in the table, in order."""
    text = person.client.get(f"/floor/table?{urlencode(query)}").text
    return [m[1] for m in re.finditer(r'class="ledger-drum" href="/drums/([^"]+)"', text)]


def shown(person: Person, stock: dict[str, str], **query: str) -> set[str]:
    names = {tag: name for name, tag in stock.items()}
    return {names[tag] for tag in rows(person, **query)}


def test_every_drum_is_on_the_floor_and_in_the_table(stock, boss):
    assert set(rows(boss)) == set(stock.values())
    shelves = boss.get("/floor?view=shelves")
    assert set(stock.values()) <= set(TAG.findall(shelves.words))
    for kind in ("Dock", "Hall", "Room", "Van"):
        assert kind in shelves.words


def test_states_are_what_the_service_says(yard, boss):
    for state in ("ready", "too_cold", "too_warm", "on_hold", "unknown"):
        asked = yard.client.get("/api/v1/drums", params={"readiness": state}).json()["items"]
        assert set(rows(boss, readiness=state)) == {drum["tag"] for drum in asked}
        assert asked, state


def test_each_word_of_the_filter_narrows_the_floor(yard, stock, boss):
    assert shown(boss, stock, side="resin") == {"too warm", "held", "unknown"}
    assert shown(boss, stock, lot="L-9") == {"expired"}
    assert shown(boss, stock, place=yard.place("van")) == {"too cold in the van"}
    assert shown(boss, stock, site=yard.site) == set(stock)
    assert shown(boss, stock, readiness="ready", place=yard.place("room")) == {
        "ready",
        "ready partial",
    }
    # Under 20 lb a minute iso of 64 °F will do (50 to 90 °F; common practice, no source).
    assert "too cold" in shown(boss, stock, output="under_20", readiness="ready")
    soon = shown(boss, stock, by="tomorrow-6")
    assert {"ready", "ready partial"} <= soon
    assert not soon & {"held", "expired", "unknown"}


@pytest.mark.parametrize(
    "strange",
    [
        {"side": "left"},
        {"lot": "'; drop table drum; --"},
        {"place": "nowhere/at-all"},
        {"site": "%"},
        {"readiness": "fine"},
        {"by": "doomsday"},
        {"output": "a lot"},
        {"side": "iso", "lot": LOT, "output": "FROM_20"},
    ],
)
def test_unknown_word_shows_no_drum_and_says_what_was_asked(boss, strange):
    assert rows(boss, **strange) == []
    page = boss.get(f"/floor?view=shelves&{urlencode(strange)}")
    assert "0 drums" in page.words
    assert list(strange.values())[-1] in page.words


@given(
    query=st.lists(
        st.tuples(
            st.sampled_from(
                [
                    "site",
                    "side",
                    "lot",
                    "place",
                    "readiness",
                    "by",
                    "output",
                    "view",
                    "sort",
                    "order",
                ]
            )
            | st.text(max_size=8),
            st.sampled_from(["", "iso", "ready", "tomorrow-6", "under_20", "table", "left", "a/b"])
            | st.text(max_size=300),
        ),
        max_size=6,
    )
)
def test_no_question_breaks_the_floor(boss, query):
    text = urlencode(query, errors="surrogatepass")
    for path in ("/floor?view=shelves&", "/floor/table?"):
        assert boss.client.get(path + text).status_code in (200, 303, 422)


SORTS = {
    "tag": lambda d: d["tag"],
    "left": lambda d: d["net_kg"],
    "bottom": lambda d: d["estimate"]["bottom_c"] if d["estimate"] else 1e9,
    "mean": lambda d: d["estimate"]["mean_c"] if d["estimate"] else 1e9,
}


@pytest.mark.parametrize("column", SORTS)
@pytest.mark.parametrize("order", ["ascending", "descending"])
def test_table_is_sorted_as_asked(yard, boss, column, order):
    drums = yard.client.get("/api/v1/drums").json()["items"]
    key = {drum["tag"]: SORTS[column](drum) for drum in drums}
    values = [key[tag] for tag in rows(boss, sort=column, order=order)]
    assert values == sorted(values, reverse=order == "descending")
    head = boss.get(f"/floor/table?sort={column}&order={order}")
    (sorted_by,) = (th["aria-sort"] for th in head.all("th") if "aria-sort" in th)
    assert sorted_by == order


def test_table_sorted_by_when_ready_begins_with_what_is_ready(stock, boss):
    order = rows(boss, sort="ready_at")
    assert set(order[:2]) == {stock["ready"], stock["ready partial"]}
    for column in ("side", "lot", "place", "readiness", "nonsense"):
        assert len(rows(boss, sort=column)) == len(stock)


def test_last_choice_of_shelves_or_table_is_remembered_with_the_filter(serving):
    with signed_in(serving, "viewer") as person:
        assert person.client.get("/floor").status_code == 200
        person.get("/floor/table")
        sent = person.client.get("/floor?lot=L-9")
        assert (sent.status_code, sent.headers["Location"]) == (303, "/floor/table?lot=L-9")
        assert person.client.get("/").headers["Location"] == "/floor"
        table = person.get(sent.headers["Location"])
        (back,) = (a["href"] for a in table.all("a") if "view=shelves&lot=L-9" in a["href"])
        person.get(back)
        assert VIEW_COOKIE not in person.client.cookies
        assert person.client.get("/floor").status_code == 200


def test_group_counts_its_drums_and_puts_the_next_to_use_first(yard, stock, boss):
    text = boss.client.get(f"/floor?view=shelves&place={yard.place('room')}&readiness=ready").text
    opened = text.partition('class="drums"')[2].partition("</ul>")[0]
    assert TAG.findall(re.sub(r"<svg.*?</svg>|href=\S+", "", opened, flags=re.DOTALL)) == [
        stock["ready partial"],
        stock["ready"],
    ]
    page = Page(text)
    assert "2 drums" in page.words
    assert f"A iso, lot {LOT}" in page.words


def test_what_is_said_ahead_is_never_of_now(yard, boss):
    # As cold as a day ago, warmer between, and the day ahead is like the last: the lowest is now.
    shed = catalogue.place(yard.site, code="lee-side")
    assert yard.client.post("/api/v1/places", json=shed).status_code == 201
    place = f"{yard.site}/lee-side"
    mount = {"what": "air", "place": place, "since": ago(48.0)}
    sensor = catalogue.sensor(mount=mount, interval_s=900)
    assert yard.client.post("/api/v1/sensors", json=sensor).status_code == 201
    pack = [{"bn": sensor["name"], "bu": "Cel", "n": "", "t": -1.0, "v": 0.0}]
    pack += [{"t": -900.0 * i, "v": 0.1 * i * (96 - i) / 24.0} for i in range(1, 96)]
    pack += [{"t": -900.0 * i, "v": 0.0} for i in range(96, 100)]
    headers = {"Content-Type": "application/senml+json"}
    assert yard.client.post("/api/v1/readings", json=pack, headers=headers).is_success
    page = boss.get(f"/floor?view=shelves&place={place}")
    assert "High ahead" in page.words
    assert "Low ahead" not in page.words


def test_now_tells_causes_and_its_button_records_who_acts(serving, yard, boss):
    with signed_in(serving, "viewer") as person:
        page = person.get("/floor?view=shelves")
        found = yard.client.get("/api/v1/alarms", params={"state": "open"}).json()["items"]
        active = {a["id"] for a in found if not a["state"].startswith("returned")}
        tasks = [a["id"] for a in page.all("li") if a.get("class", "").startswith("task")]
        assert {f"task-{alarm}" for alarm in active} == set(tasks)
        assert active
        assert not [form for form in page.forms if "acknowledge" in form.action]
        fields = {"csrf": person.csrf(), "next": "/floor"}
        for alarm in active:
            refused = person.client.post(f"/alarms/{alarm}/acknowledge", data=fields)
            assert refused.status_code == 403
    page = boss.get("/floor?view=shelves&side=iso")
    form = next(form for form in page.forms if form.action.endswith("/acknowledge"))
    answer = boss.send(form)
    assert (answer.status_code, answer.headers["Location"]) == (
        303,
        "/floor?view=shelves&side=iso",
    )
    found = yard.client.get(form.action.replace("/alarms", "/api/v1/alarms").rpartition("/")[0])
    assert found.json()["state"] == "acknowledged"
    page = boss.get("/alarms")
    assert "Acknowledged by Somebody" in page.words
    assert boss.client.post("/alarms/none/acknowledge", data=form.fields).status_code == 404


def test_shelves_without_drums_stand_there_until_a_word_narrows_them(yard, boss):
    assert (
        "No drums stand here." in boss.get(f"/floor?view=shelves&place={yard.place('dock')}").words
    )
    narrowed = boss.get("/floor?view=shelves&lot=L-9").words
    assert "No drums stand here." not in narrowed
    assert "No place matches." in boss.get("/floor?view=shelves&lot=none").words


def test_a_long_table_comes_in_pages_that_keep_filter_and_order(stock, boss, monkeypatch):
    monkeypatch.setattr(floor, "ROWS_AT_ONCE", 3)
    whole = [rows(boss, sort="tag", side="iso", page=str(n)) for n in (1, 2, 99)]

    assert [len(some) for some in whole] == [3, 2, 2]
    assert whole[0] + whole[1] == sorted(whole[0] + whole[1])
    assert whole[2] == whole[1]  # beyond the last is the last
    page = boss.get("/floor/table?sort=tag&side=iso")
    assert "5 drums" in page.words
    assert "Page 1 of 2." in page.words
    (onward,) = (a["href"] for a in page.all("a") if "page=2" in a.get("href", ""))
    assert rows_at(boss, onward) == whole[1]
    assert set(rows(boss, page="x")) <= set(stock.values())


def rows_at(person: Person, path: str) -> list[str]:
    text = person.client.get(path).text
    return [m[1] for m in re.finditer(r'class="ledger-drum" href="/drums/([^"]+)"', text)]


def test_what_a_drum_is_shows_on_the_floor_at_once_and_gone_ones_not_at_all(yard, boss):
    tag = yard.receive(liquid_c=18.0)["tag"]
    assert tag in rows(boss)
    yard.record(tag, "held", reason="x")
    assert tag in rows(boss, readiness="on_hold")
    yard.record(tag, "disposed")
    assert tag not in rows(boss)
    assert tag not in boss.get("/floor?view=shelves").words
