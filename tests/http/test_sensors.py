"""Sensors over HTTP: hung, moved, taken down and calibrated, each with its history."""

from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.domain.grid import to_ms
from drumkeep.storage import catalogue, place_marks
from drumkeep.storage.transaction import reading, transaction
from tests.builders import catalogue as build
from tests.fixtures.serving import manager, serving

__all__ = ["manager", "serving"]
API = "/api/v1"
T0 = "2026-01-10T06:00:00Z"
T1 = "2026-01-20T18:30:00Z"


@pytest.fixture
def places(manager):
    site = manager.post(f"{API}/sites", json=build.site()).json()["code"]
    return [manager.post(f"{API}/places", json=build.place(site)).json()["place"] for _ in range(2)]


def marks(serving):
    with reading(serving.engine) as tx:
        standing = place_marks.standing(tx)
        names = catalogue.place_references(tx, ids=[mark.place_id for mark in standing])
        return {names[mark.place_id]: mark.from_ms for mark in standing}


def settle(serving):
    with transaction(serving.engine) as tx:
        place_marks.settle(tx, marks=place_marks.standing(tx))


def ms(text):
    return to_ms(datetime.fromisoformat(text))


def hung(manager, place, since=T0, **changes):
    mount = {"what": "air", "place": place, "since": since}
    answer = manager.post(f"{API}/sensors", json=build.sensor(mount=mount, **changes))
    assert answer.status_code == 201, answer.text
    return answer.json()


def test_a_sensor_hangs_where_it_was_hung(manager, places):
    sensor = hung(manager, places[0])

    assert sensor["unit"] == "Cel"
    assert sensor["mounts"] == [
        {
            "what": "air",
            "place": places[0],
            "drum": None,
            "height_m": None,
            "since": T0,
            "until": None,
        }
    ]
    listed = manager.get(f"{API}/sensors", params={"place": places[0]}).json()["items"]
    assert listed == [sensor]


def test_hung_elsewhere_it_leaves_the_place_before(manager, places):
    name = hung(manager, places[0])["name"]

    answer = manager.patch(
        f"{API}/sensors/{name}",
        json={"mount": {"what": "floor", "place": places[1], "since": T1}},
    )

    assert [(m["place"], m["since"], m["until"]) for m in answer.json()["mounts"]] == [
        (places[0], T0, T1),
        (places[1], T1, None),
    ]


def test_times_with_any_zone_are_kept_in_utc(manager, places):
    sensor = hung(manager, places[0], since="2026-01-10T00:00:00-06:00")

    assert sensor["mounts"][0]["since"] == T0


@pytest.mark.parametrize(
    ("since", "until"),
    [(T0, None), ("2026-01-01T00:00:00Z", None), ("2026-01-01T00:00:00Z", T1)],
)
def test_a_sensor_hangs_in_one_place_at_a_time(manager, places, since, until):
    sensor = hung(manager, places[0])

    answer = manager.patch(
        f"{API}/sensors/{sensor['name']}",
        json={"mount": {"what": "air", "place": places[1], "since": since, "until": until}},
    )

    assert answer.status_code == 409
    assert answer.json()["errors"][0]["field"] == "mount.since"
    assert manager.get(f"{API}/sensors/{sensor['name']}").json() == sensor


def test_an_earlier_mount_may_be_added_before_the_first(manager, places):
    name = hung(manager, places[0])["name"]
    earlier = {"what": "air", "place": places[1], "since": "2026-01-01T00:00:00Z", "until": T0}

    answer = manager.patch(f"{API}/sensors/{name}", json={"mount": earlier})

    assert [m["place"] for m in answer.json()["mounts"]] == [places[1], places[0]]


def test_a_sensor_is_taken_down_once(manager, places):
    address = f"{API}/sensors/{hung(manager, places[0])['name']}"

    first = manager.patch(address, json={"unmounted_at": T1})
    second = manager.patch(address, json={"mount": None})

    assert first.json()["mounts"][0]["until"] == T1
    assert second.status_code == 409


def test_calibrations_are_kept_as_history(manager, places):
    sensor = hung(manager, places[0], calibration={"gain": 1.01, "offset": -0.2})
    address = f"{API}/sensors/{sensor['name']}"

    manager.patch(address, json={"calibration": {"offset": 0.4, "since": T1}})
    answer = manager.patch(address, json={"calibration": {"offset": 0.5, "since": T1}})

    assert answer.json()["calibrations"] == [
        {"since": "2000-01-01T00:00:00Z", "gain": 1.01, "offset": -0.2},
        {"since": T1, "gain": 1.0, "offset": 0.5},
    ]


def test_what_changes_the_past_marks_the_places_it_changes(serving, manager, places):
    sensor = hung(manager, places[0])
    # Up to 2 h before: the straight line from the reading before changes too.
    assert marks(serving)[places[0]] == ms(T0) - 7_200_000
    assert places[1] not in marks(serving)
    settle(serving)

    manager.patch(
        f"{API}/sensors/{sensor['name']}",
        json={"calibration": {"offset": 0.4, "since": T1}},
    )

    assert marks(serving) == {places[0]: ms(T1) - 7_200_000}


def test_a_name_does_not_change_the_past(serving, manager, places):
    hung(manager, places[0])
    settle(serving)

    manager.patch(f"{API}/places/{places[0]}", json={"name": "Short hall", "capacity": 9})

    assert marks(serving) == {}


def test_a_place_with_other_heat_is_computed_from_the_beginning(serving, manager, places):
    settle(serving)

    manager.patch(f"{API}/places/{places[1]}", json={"motion": "fan"})

    assert marks(serving) == {places[1]: 0}


@pytest.mark.parametrize(
    ("quantity", "mount", "field"),
    [
        ("humidity", {"what": "air"}, "mount.what"),
        ("temperature", {"what": "humidity"}, "mount.what"),
        ("temperature", {"what": "wind"}, "mount.what"),
        ("temperature", {"what": "skin"}, "mount.place"),
        ("temperature", {"what": "air", "place": None}, "mount.place"),
        ("temperature", {"what": "skin", "place": None}, "mount.drum"),
        ("temperature", {"what": "skin", "place": None, "drum": "K7Q-X4N"}, "mount.drum"),
        ("temperature", {"what": "skin", "place": None, "drum": "K7Q-X4M"}, "mount.drum"),
        ("temperature", {"what": "air", "place": "north/nowhere"}, "mount.place"),
        ("temperature", {"what": "air", "until": T0}, "mount.until"),
    ],
)
def test_what_cannot_hang_there_is_refused_and_not_made(manager, places, quantity, mount, field):
    body = build.sensor(quantity=quantity, mount={"place": places[0], "since": T0} | mount)

    answer = manager.post(f"{API}/sensors", json=body)

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == field
    assert manager.get(f"{API}/sensors/{body['name']}").status_code == 404


def test_nothing_is_hung_in_the_future(manager, places):
    since = (datetime.now(UTC) + timedelta(hours=1)).isoformat()  # noqa: TID251 - a real service

    answer = manager.post(
        f"{API}/sensors",
        json=build.sensor(mount={"what": "air", "place": places[0], "since": since}),
    )

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "mount.since"
