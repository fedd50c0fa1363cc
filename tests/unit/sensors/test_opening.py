"""From a configuration to sensors that can be read."""

from pathlib import Path

import pytest

from drumkeep_sensors.configuration import read_configuration
from drumkeep_sensors.drivers.driver import Unreadable
from drumkeep_sensors.drivers.opening import OpenSensor, open_sensors
from drumkeep_sensors.scenario import ScenarioError

URN = "urn:dev:os:32473-attic"
BEGUN = 1_790_000_000.0


class Clock:
    now = BEGUN

    def __call__(self) -> float:
        return self.now


def opened(folder: Path, sensors: str, clock: Clock | None = None) -> list[OpenSensor]:
    file = folder / "gateway.toml"
    file.write_text(
        f"""
        [gateway]
        site = "north"
        code = "attic"
        urn = "{URN}"
        state = "state"
        [broker]
        host = "127.0.0.1"
        [linux]
        sysfs = "sys"
        procfs = "proc"
        [[modbus]]
        name = "shed"
        host = "127.0.0.1"
        {sensors}
        """
    )
    return open_sensors(read_configuration(file), urn=URN, folder=folder, clock=clock or Clock())


def one(folder: Path, keys: str, clock: Clock | None = None) -> OpenSensor:
    (sensor,) = opened(folder, "[[sensors]]\n" + keys.replace("; ", "\n"), clock)
    return sensor


@pytest.mark.parametrize(
    ("keys", "name", "unit"),
    [
        (
            'driver = "one-wire"; device = "10-0008013a07e2"',
            "urn:dev:ow:10e2073a01080063:temp",
            "Cel",
        ),
        ('driver = "hwmon"; chip = "a"; channel = "temp1"; name = "x"', f"{URN}:x", "Cel"),
        ('driver = "hwmon"; chip = "a"; channel = "humidity1"; name = "x"', f"{URN}:x", "%RH"),
        ('driver = "hwmon"; chip = "a"; channel = "in0"; name = "x"', f"{URN}:x", "V"),
        ('driver = "iio"; chip = "a"; channel = "in_temp"; name = "urn:dev:a"', "urn:dev:a", "Cel"),
        (
            'driver = "iio"; chip = "a"; channel = "in_humidityrelative"; name = "x"',
            f"{URN}:x",
            "%RH",
        ),
        ('driver = "battery"; supply = "a"; name = "x"', f"{URN}:x", "%EL"),
        ('driver = "battery"; supply = "a"; what = "voltage"; name = "x"', f"{URN}:x", "V"),
        ('driver = "signal"; interface = "wlan0"; name = "x"', f"{URN}:x", "dBW"),
        (
            'driver = "modbus"; bus = "shed"; register = 1; unit = "%RH"; name = "x"',
            f"{URN}:x",
            "%RH",
        ),
    ],
)
def test_each_kind_has_its_name_and_unit_and_tells_when_it_is_not_there(
    tmp_path: Path, keys: str, name: str, unit: str
):
    sensor = one(tmp_path, keys)

    assert (sensor.name, sensor.unit, sensor.interval_s) == (name, unit, 60)
    with pytest.raises(Unreadable):
        sensor.driver.read()


def test_sensors_of_one_line_share_a_lane(tmp_path: Path):
    modbus = 'driver = "modbus"\nbus = "shed"\nregister = 1\nunit = "Cel"\n'
    sensors = opened(
        tmp_path,
        f'[[sensors]]\n{modbus}name = "a"\n[[sensors]]\n{modbus}name = "b"\ninterval_s = 5\n'
        '[[sensors]]\ndriver = "one-wire"\ndevice = "10-0008013a07e2"\n',
    )

    assert sensors[0].lane == sensors[1].lane != sensors[2].lane
    assert [sensor.interval_s for sensor in sensors] == [60, 5, 60]


def test_a_csv_file_is_replayed_from_now_or_as_recorded(tmp_path: Path):
    (tmp_path / "night.csv").write_text(f"{BEGUN - 7200},10\n{BEGUN - 3600},4\n{BEGUN + 3600},0\n")
    keys = 'driver = "csv"; file = "night.csv"; unit = "Cel"; name = "x"'
    clock = Clock()
    from_now = one(tmp_path, keys, clock).driver
    recorded = one(tmp_path, f'{keys}; begins = "recorded"', clock).driver

    assert (from_now.read(), recorded.read()) == (10.0, 2.0)
    clock.now += 1800
    assert (from_now.read(), recorded.read()) == (7.0, 1.0)
    clock.now += 3600
    with pytest.raises(Unreadable, match="no value for now"):
        recorded.read()


def test_a_csv_file_that_is_no_curve_names_its_sensor(tmp_path: Path):
    (tmp_path / "night.csv").write_text("time,value\n")

    with pytest.raises(ScenarioError, match=r"sensors\.0\.file"):
        one(tmp_path, 'driver = "csv"; file = "night.csv"; unit = "Cel"; name = "x"')


def test_a_simulation_is_a_sine(tmp_path: Path):
    clock = Clock()
    keys = 'driver = "simulation"; mean = 4.0; swing = 2.0; period_s = 40.0; unit = "Cel"'
    driver = one(tmp_path, f'{keys}; name = "x"', clock).driver
    values = []
    for clock.now in (0.0, 10.0, 20.0, 30.0):
        values.append(driver.read())

    assert values == [4.0, 6.0, 4.0, 2.0]
