"""How many questions pages ask of the database: no more of a large company than of a small one."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any, Final

import pytest
from sqlalchemy import event

from drumkeep.operations.ground import read_ground, read_ground_under, read_premises
from drumkeep.storage.transaction import reading
from drumkeep.web.views.places import places_by_reference
from tests.benchmark.company import add_sensors, raise_alarms
from tests.builders.stock import ago
from tests.fixtures.people import signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import Yard, yard

__all__ = ["manager", "serving", "yard"]

PAGES: Final = (
    "/floor?view=shelves",
    "/floor/table",
    "/drums/{tag}",
    "/d/{tag}",
    "/alarms",
    "/stock",
    "/sensors",
    "/audit",
    "/receive",
    "/move",
    "/labels",
)


def grow(yard: Yard, *, number: int) -> str:
    """Bring in so many more drums, alarms and sensors; return one of the drums' tags."""
    now = datetime.now(UTC)  # noqa: TID251 - the real service reads the real clock
    alike = [yard.drum(liquid_c=18.0, at=ago(1.0)) for _ in range(number)]
    answer = yard.client.post("/api/v1/drums", json=alike)
    assert answer.status_code == 201, answer.text
    tags = [one["tag"] for one in answer.json()]
    engine = yard.serving.engine
    add_sensors(engine, number=number, now=now)
    raise_alarms(engine, number=number, tags=tags, now=now)
    return str(tags[0])


@contextmanager
def counted(yard: Yard) -> Iterator[list[str]]:
    """Give the statements that the service runs meanwhile."""
    said: list[str] = []

    def note(_connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        said.append(statement)

    event.listen(yard.serving.engine, "before_cursor_execute", note)
    try:
        yield said
    finally:
        event.remove(yard.serving.engine, "before_cursor_execute", note)


def test_no_page_asks_more_of_a_company_four_times_as_large(yard):
    def asked(tag: str) -> dict[str, int]:
        found = {}
        for page in PAGES:
            with counted(yard) as said:
                answer = person.client.get(page.format(tag=tag))
            assert answer.status_code == 200, answer.text
            found[page] = len(said)
        return found

    with signed_in(yard.serving, "manager") as person:
        tag = grow(yard, number=4)
        asked(tag)  # what is looked up once in a while, such as whose session it is
        small = asked(tag)
        grow(yard, number=12)
        large = asked(tag)
    more = {page: (small[page], large[page]) for page in PAGES if large[page] > small[page]}
    assert not more


def test_a_drum_and_its_chart_read_once_what_tells_of_its_place(yard):
    tag = grow(yard, number=4)
    with signed_in(yard.serving, "viewer") as person:
        for page in ("/drums/{tag}", "/drums/{tag}/chart.json", "/drums/{tag}?ahead=warm_room"):
            with counted(yard) as said:
                answer = person.client.get(page.format(tag=tag))
            assert answer.status_code == 200, answer.text
            airs = sum(one.startswith("WITH wanted (sensor_id, ts") for one in said)
            mounts = sum("FROM mount JOIN place" in one and "mount.what" in one for one in said)
            places = 2 if "warm_room" in page else 1
            assert (airs, mounts) == (places, places), page


def test_of_what_hangs_elsewhere_on_the_site_nothing_is_read_until_somebody_asks(yard):
    grow(yard, number=12)
    with reading(yard.serving.engine) as tx:
        hall = places_by_reference(read_premises(tx))[yard.place("hall")]
        near = read_ground_under(tx, place_ids=[hall.id])
        whole = read_ground(tx, around=[hall.id])
        here = near.air_mounts[hall.id]

        assert here == whole.air_mounts[hall.id]
        assert set(near.sensors) == {mount.sensor_id for mount in here}
        assert len(near.sensors) < len(whole.sensors)
        assert near.elsewhere(here) == whole.elsewhere(here) != []


@pytest.fixture(autouse=True)
def nothing_is_shared(yard, monkeypatch) -> None:
    """Have every floor worked out for whoever asks."""
    monkeypatch.setattr(type(yard.serving.app.state.services.shared), "get", made_anew)


def made_anew(_shared: object, _key: object, make: Any, **_: object) -> Any:
    return make()
