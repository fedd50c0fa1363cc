"""Scenarios of simulated gateways are read, or refused naming the field."""

import json
from pathlib import Path

import pytest

from drumkeep_sensors.cli import main
from drumkeep_sensors.scenario import Curve, ScenarioError, read_scenario

POINTS = [(100.0, 10.0), (200.0, 20.0), (400.0, 0.0)]


def told(**changes: object) -> dict[str, object]:
    scenario: dict[str, object] = {
        "site": "north",
        "gateway": "attic",
        "urn": "urn:dev:os:32473-attic",
        "state": "attic-state",
        "broker": {"host": "127.0.0.1"},
        "sensors": [{"name": "urn:dev:ow:1:temp", "unit": "Cel", "points": "curve.csv"}],
    }
    return scenario | changes


def sensor(**changes: object) -> list[dict[str, object]]:
    return [{"name": "urn:dev:ow:1:temp", "unit": "Cel", "points": "curve.csv"} | changes]


def write(folder: Path, scenario: object, *, points: str = "1770000000,4\n1770000300,5\n") -> Path:
    (folder / "curve.csv").write_text(points)
    file = folder / "scenario.json"
    file.write_text(scenario if isinstance(scenario, str) else json.dumps(scenario))
    return file


@pytest.mark.parametrize(
    ("time", "value"),
    [
        (99.9, None),
        (100, 10.0),
        (150, 15.0),
        (200, 20.0),
        (250, 15.0),
        (400, 0.0),
        (400.1, None),
    ],
)
def test_between_points_lie_straight_lines_and_outside_nothing(time: float, value: float | None):
    assert Curve(POINTS, silent_from=None, repeats=False).value_at(time) == value


def test_a_sensor_goes_silent_when_it_is_told_to():
    curve = Curve(POINTS, silent_from=250, repeats=False)

    assert curve.value_at(249.9) is not None
    assert curve.value_at(250) is None


def test_a_curve_that_repeats_reads_its_last_day_again():
    day = 86_400.0
    points = [(0.0, 0.0), (day, 24.0), (2 * day, 0.0)]
    curve = Curve(points, silent_from=None, repeats=True)

    assert curve.value_at(2 * day + day / 4) == curve.value_at(day + day / 4) == 18.0
    assert curve.value_at(9 * day) == 0.0
    assert Curve(POINTS, silent_from=None, repeats=True).value_at(500) is None


def test_toml_and_json_say_the_same(tmp_path: Path):
    (tmp_path / "scenario.toml").write_text(
        """
        site = "north"
        gateway = "attic"
        urn = "urn:dev:os:32473-attic"
        state = "attic-state"
        [broker]
        host = "127.0.0.1"
        [[sensors]]
        name = "urn:dev:ow:1:temp"
        unit = "Cel"
        points = "curve.csv"
        """
    )
    from_json, curves = read_scenario(write(tmp_path, told()))
    from_toml, _ = read_scenario(tmp_path / "scenario.toml")

    assert from_json == from_toml
    assert from_json.broker.port == 1883
    assert curves[0].value_at(1_770_000_150) == 4.5


@pytest.mark.parametrize(
    ("scenario", "field"),
    [
        ("{", "file"),
        ("[]", "scenario"),
        (told(site=5), "site"),
        (told(site="a/b"), "site"),
        (told(gateway="alarms"), "gateway"),
        (told(urn="_"), "urn"),
        (told(surprise=1), "scenario"),
        (told(broker={"host": "x", "port": 0}), "broker.port"),
        (told(broker={"host": "x", "root": "a/#"}), "broker.root"),
        (told(sensors=[]), "sensors"),
        (told(sensors=sensor(name="")), "sensors.0.name"),
        (told(sensors=sensor(name="a:spool:00c0ffee")), "sensors.0.name"),
        (told(sensors=sensor() + sensor()), "sensors.1.name"),
        (told(sensors=sensor(live_interval_s=0)), "sensors.0.live_interval_s"),
        (told(sensors=sensor(beyond="hold")), "sensors.0.beyond"),
        (told(sensors=sensor(points="nowhere.csv")), "sensors.0.points"),
        (told(sensors=sensor(silent_from="2026-02-05")), "sensors.0.silent_from"),
    ],
)
def test_a_scenario_that_cannot_be_played_names_its_field(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    scenario: object,
    field: str,
):
    file = write(tmp_path, scenario)

    with pytest.raises(ScenarioError) as refusal:
        read_scenario(file)
    assert refusal.value.field == field
    assert main(["simulate", str(file)]) == 2
    assert field in capsys.readouterr().err


@pytest.mark.parametrize(
    "points",
    ["", "time,value\n", "1\n", "1,2,3\n", "1,x\n", "1,nan\n", "2,1\n1,1\n", "1,1\n1,2\n"],
)
def test_points_that_are_no_curve_are_refused(tmp_path: Path, points: str):
    with pytest.raises(ScenarioError) as refusal:
        read_scenario(write(tmp_path, told(), points=points))

    assert refusal.value.field == "sensors.0.points"
