"""What is on record comes out as files that say what was asked for, and no more at a time."""

import csv
import io

from drumkeep.domain.roles import Role
from drumkeep.storage import archive
from tests.fixtures.answers import check_problem
from tests.fixtures.people import signed_in
from tests.fixtures.serving import manager, nobody, serving
from tests.fixtures.yard import yard

__all__ = ["manager", "nobody", "serving", "yard"]
ADDRESS = "/api/v1/exports"


def rows(answer):
    assert answer.status_code == 200, answer.text
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    return list(csv.DictReader(answer.content.decode("utf-8-sig").splitlines()))


def test_a_viewer_takes_a_drum_along_by_a_link_of_the_page(serving, yard):
    tag = yard.receive()["tag"]
    with signed_in(serving, Role.VIEWER) as person:
        links = {link.get("href") for link in person.get("/export").all("a")}
        for noun in ("drums", "lots", "products", "places", "sensors", "events"):
            assert f"{ADDRESS}/{noun}.csv" in links
            assert rows(person.client.get(f"{ADDRESS}/{noun}.csv"))
        assert tag in {row["tag"] for row in rows(person.client.get(f"{ADDRESS}/drums.csv"))}


def test_readings_are_of_the_days_that_were_asked_for(manager, yard):
    days = {"start": "2020-01-01", "end": "2020-01-31", "site": yard.site}
    assert rows(manager.get(f"{ADDRESS}/readings.csv", params=days)) == []
    check_problem(manager.get(f"{ADDRESS}/readings.csv", params={"start": "", "end": ""}), 422)
    check_problem(manager.get(f"{ADDRESS}/readings.csv", params=days | {"end": "2021-02-01"}), 422)
    check_problem(manager.get(f"{ADDRESS}/lots.csv", params={"site": yard.site}), 422)


def test_a_manager_takes_all_of_it_along_and_that_is_on_record(serving, yard):
    tag = yard.receive()["tag"]
    with signed_in(serving, Role.MANAGER) as person:
        assert f"{ADDRESS}/all" in person_links(person)
        answer = person.client.get(f"{ADDRESS}/all")
        assert answer.headers["Content-Disposition"].endswith('.jsonl"')
        assert archive.check(io.BytesIO(answer.content)).format == archive.FORMAT
        assert f'"tag":"{tag}"' in answer.text
        found = person.client.get("/api/v1/audit", params={"did": "took all of it out"}).json()
    assert found["items"][0]["actor"] == person.name
    with signed_in(serving, Role.VIEWER) as viewer:
        assert f"{ADDRESS}/all" not in person_links(viewer)
        check_problem(viewer.client.get(f"{ADDRESS}/all"), 403)


def person_links(person):
    return {link.get("href") for link in person.get("/export").all("a")}
