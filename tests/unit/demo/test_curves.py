"""What the simulated gateways are given to play, and when they have caught up."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from drumkeep.demo import company
from drumkeep.demo.curves import all_confirmed, write_scenarios
from drumkeep.demo.folder import Folder
from drumkeep.demo.timetable import Timetable
from drumkeep_sensors.scenario import Curve, read_scenario

BEGUN = datetime(2026, 11, 25, 15, 7, tzinfo=UTC)
SILENT = "willow-rig"


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Folder]:
    with Folder(tmp_path / "demo") as made:
        yield made


@pytest.fixture
def files(folder: Folder) -> list[Path]:
    return write_scenarios(folder, timetable=Timetable.of(BEGUN), broker_port=1883)


def played(file: Path, *, upto: datetime, confirmed_to: datetime | None) -> None:
    spool = file.parent / "state"
    spool.mkdir(exist_ok=True)
    told = {
        "upto": int(upto.timestamp()),
        "confirmed_to": None if confirmed_to is None else int(confirmed_to.timestamp()),
    }
    (spool / "played.json").write_text(json.dumps(told))


def test_a_gateway_can_play_what_it_is_given(files: list[Path]):
    names = set()
    on_drums = {sensor.name for sensor in company.SENSORS if sensor.drum is not None}
    for file in files:
        scenario, curves = read_scenario(file)
        for sensor, curve in zip(scenario.sensors, curves, strict=True):
            names.add(sensor.name)
            if sensor.name not in on_drums:  # those begin when their drum is there
                assert curve.begins <= (BEGUN - timedelta(days=5)).timestamp()
            value = curve.value_at(BEGUN.timestamp())
            assert (value is None) == (file.parent.name == SILENT)
    assert names == {sensor.name for sensor in company.SENSORS}


def test_the_van_reads_outdoor_air_and_four_degrees(files: list[Path]):
    read: dict[str, Curve] = {}
    for file in files:
        scenario, curves = read_scenario(file)
        read |= {s.name: curve for s, curve in zip(scenario.sensors, curves, strict=True)}
    hung = {sensor.place: read[sensor.name] for sensor in company.SENSORS if sensor.what == "air"}
    coldest = Timetable.of(BEGUN).coldest.timestamp()

    # The coldest hour of TMY3 723170 is at -16.7 °C.
    assert hung["harrow/yard"].value_at(coldest) == pytest.approx(-16.7)
    assert hung["harrow/box-van"].value_at(coldest) == pytest.approx(-12.7)


def test_curves_stay_as_they_were_first_told(folder: Folder, files: list[Path]):
    curves = [curve for file in files for curve in file.parent.glob("*.csv")]
    before = {curve: curve.stat().st_mtime_ns for curve in curves}

    write_scenarios(folder, timetable=Timetable.of(BEGUN), broker_port=1884)

    assert {curve: curve.stat().st_mtime_ns for curve in curves} == before
    assert json.loads(files[0].read_text())["broker"]["port"] == 1884


def test_gateways_have_caught_up_once_all_is_played_and_confirmed(files: list[Path]):
    now = BEGUN + timedelta(days=1)
    assert not all_confirmed(files, since=now)
    for file in files:
        played(file, upto=now, confirmed_to=now)
    assert all_confirmed(files, since=now)

    played(files[0], upto=now, confirmed_to=now - timedelta(minutes=1))
    assert not all_confirmed(files, since=now)
    played(files[0], upto=now, confirmed_to=None)
    assert not all_confirmed(files, since=now)
