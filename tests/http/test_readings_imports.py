"""A logger's download by API and by page: seen first, then stored, and harmless again."""

from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.asgi.middleware import MAX_BODY, MAX_UPLOAD
from drumkeep.domain.roles import Role
from tests.builders import catalogue as build
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, nobody, serving

__all__ = ["manager", "nobody", "serving"]
ADDRESS = "/api/v1/readings/imports"
CSV = {"Content-Type": "text/csv"}
FILE = """\
Logger 20411
Date Time;Dock (°F);Note
11/24/2025 2:05 PM;61,5;
11/24/2025 2:06 PM;---;
11/24/2025 2:07 PM;61,7;
11/24/2025 2:08 PM;wet;
"""


@pytest.fixture
def sensor(manager):
    """Hang a sensor in a place of a site in Chicago; return its name."""
    site = manager.post("/api/v1/sites", json=build.site(timezone="America/Chicago")).json()["code"]
    place = manager.post("/api/v1/places", json=build.place(site)).json()["place"]
    mount = {"what": "air", "place": place, "since": "2025-01-01T00:00:00Z"}
    answer = manager.post("/api/v1/sensors", json=build.sensor(mount=mount))
    assert answer.status_code == 201, answer.text
    return answer.json()["name"]


def stored(serving, name: str) -> list[tuple[int, float]]:
    with serving.engine.connect() as connection:
        rows = connection.exec_driver_sql(
            f"SELECT ts, value FROM reading JOIN sensor ON id = sensor_id WHERE name = '{name}' "  # noqa: S608
            "ORDER BY ts"
        )
        return [(ts, value) for ts, value in rows]


def upload(person: Person, text: str) -> Page:
    """Choose a file on the page and press the button."""
    form = person.get("/sensors/import").form("/sensors/import")
    answer = person.client.post(
        "/sensors/import", data=form.fields, files={"file": ("dock.csv", text.encode("cp1252"))}
    )
    return Page(answer.text)


def test_a_check_tells_and_stores_nothing(serving, manager, sensor):
    asked = {"check": "true", "sensor": f"Dock={sensor}"}
    answer = manager.post(ADDRESS, content=FILE.encode(), headers=CSV, params=asked)

    assert answer.status_code == 200, answer.text
    told = answer.json()
    assert (told["checked_only"], told["stored"], told["duplicates"], told["empty"]) == (
        *(True, 2, 0),
        1,
    )
    (refused,) = told["refused"]
    assert refused["examples"] == [{"line": 6, "column": "Dock (°F)", "value": "wet"}]
    (share,) = told["sensors"]
    # 14:05 in Chicago in winter
    assert (share["readings"], share["first_at"]) == (2, "2025-11-24T20:05:00Z")
    assert told["unused_columns"] == ["Note"]
    assert stored(serving, sensor) == []


def test_an_import_stores_once(serving, manager, sensor):
    asked = {"sensor": f"Dock={sensor}"}
    first, second = (
        manager.post(ADDRESS, content=FILE.encode(), headers=CSV, params=asked).json()
        for _ in range(2)
    )

    assert (first["stored"], first["duplicates"]) == (2, 0)
    assert (second["stored"], second["duplicates"]) == (0, 2)
    assert [ts for ts, _ in stored(serving, sensor)] == [1764014700000, 1764014820000]


def test_what_is_wrong_is_named_and_nothing_is_stored(serving, manager, sensor):
    for asked, field in (
        ({}, "sensor"),
        ({"sensor": f"Wind={sensor}"}, "sensor"),
        ({"sensor": f"Dock={sensor}", "zone": "Mars/Base"}, "zone"),
        ({"sensor": f"Dock={sensor}", "time": "Note"}, None),
    ):
        answer = manager.post(ADDRESS, content=FILE.encode(), headers=CSV, params=asked)
        if field is not None:
            assert answer.status_code == 422, answer.text
            assert answer.json()["errors"][0]["field"] == field
    assert stored(serving, sensor) == []


def test_only_a_manager_imports(serving, sensor):
    for role in Role:
        with serving.client(role) as client:
            answer = client.post(
                ADDRESS,
                content=FILE.encode(),
                headers=CSV,
                params={"check": "true", "sensor": f"Dock={sensor}"},
            )
        assert answer.status_code == (200 if role is Role.MANAGER else 403)


def test_a_file_may_be_larger_than_other_bodies_and_has_its_bound(manager, sensor):
    begins = datetime(2024, 1, 1, tzinfo=UTC)
    lines = "\n".join(
        f"{begins + timedelta(minutes=i):%Y-%m-%d %H:%M:%S},20.0,{'x' * 40}" for i in range(16_000)
    )
    large = f"time,{sensor},note\n{lines}".encode()
    assert len(large) > MAX_BODY
    asked = {"check": "true", "unit": "C"}
    answer = manager.post(ADDRESS, content=large, headers=CSV, params=asked)

    assert answer.json()["stored"] == 16_000
    huge = manager.post(ADDRESS, content=b"x" * (MAX_UPLOAD + 1), headers=CSV, params=asked)
    assert huge.status_code == 413


def test_another_kind_of_body_is_refused(manager):
    answer = manager.post(ADDRESS, content=b"{}", headers={"Content-Type": "application/json"})

    assert answer.status_code == 415


def test_on_the_page_a_file_is_seen_first_and_then_stored(serving, sensor):
    with signed_in(serving, "manager") as person:
        assert "Bring in a logger's download" in person.get("/sensors").words
        page = upload(person, FILE)
        assert "Sensor is not said for any of the columns" in page.words
        assert "61,5 · --- · 61,7" in page.words

        form = page.form("/sensors/import", name="dock.csv")
        form.fields |= {"sensor-2": sensor, "do": "check"}
        page = Page(person.client.post(form.action, data=form.fields).text)
        assert (
            "2 readings would be stored, 0 there already, 0 twice in the file, 1 without a value"
            in page.words
        )
        assert "Line 6, Dock (°F): “wet”." in page.words
        assert stored(serving, sensor) == []

        form = page.form("/sensors/import", name="dock.csv")
        form.fields["do"] = "store"
        page = Page(person.client.post(form.action, data=form.fields).text)
        assert "2 readings stored" in page.words
    assert len(stored(serving, sensor)) == 2


def test_on_the_page_somebody_says_which_way_dates_are_read(serving, sensor):
    with signed_in(serving, "manager") as person:
        page = upload(person, "time,Dock (°F)\n3/4/2026 2:05 PM,61.5\n")
        form = page.form("/sensors/import", name="dock.csv")
        form.fields |= {"sensor-2": sensor, "do": "store"}
        answer = person.client.post(form.action, data=form.fields)
        assert answer.status_code == 422
        page = Page(answer.text)
        assert "Dates “3/4/2026” may be 2026-03-04 or 2026-04-03" in page.words
        assert "Choose below which of the two comes first." in page.words

        form = page.form("/sensors/import", name="dock.csv")
        form.fields |= {"order": "day", "do": "store"}
        person.client.post(form.action, data=form.fields)
    ((ts_ms, _),) = stored(serving, sensor)
    # 14:05 in Chicago in summer
    assert datetime.fromtimestamp(ts_ms / 1000, tz=UTC) == datetime(2026, 4, 3, 19, 5, tzinfo=UTC)


def test_the_page_is_for_managers_and_refuses_what_it_did_not_keep(serving):
    with signed_in(serving, "crew") as person:
        assert "Bring in a logger's download" not in person.get("/sensors").words
        person.get("/sensors/import", 403)
    with signed_in(serving, "manager") as person:
        for kept in ("", "AAAA", "not base64"):
            fields = {"csrf": person.csrf(), "kept": kept, "do": "store"}
            answer = person.client.post("/sensors/import", data=fields)
            assert answer.status_code == 422, answer.text
            assert "The file" in Page(answer.text).words
