"""A configuration is checked as a whole; what is wrong is told with its line and the mend."""

from pathlib import Path

import pytest

from drumkeep_sensors.cli import main
from drumkeep_sensors.configuration import ConfigurationError, read_configuration
from drumkeep_sensors.tables import HwmonSensor, ModbusSensor, OneWireSensor
from drumkeep_wire.senml import decode_pack
from tests.fixtures.checkout import CHECKOUT

GOOD = """\
[gateway]
site = "north"
code = "attic"
urn = "urn:dev:os:32473-attic"
state = "state"

[broker]
host = "127.0.0.1"

[[modbus]]
name = "shed"
host = "127.0.0.1"

[[sensors]]
driver = "one-wire"
device = "28-0316a2794bff"

[[sensors]]
driver = "modbus"
bus = "shed"
register = 0
unit = "Cel"
name = "dock"
"""

TWIN = """
[[sensors]]
driver = "simulation"
mean = 4.0
unit = "Cel"
name = "dock"
"""
AGAIN = """\
driver = "one-wire"
device = "28-0316a2794bff"

[[sensors]]
driver = "modbus"
"""
HOST = "modbus.0.host 'a b'"


def write(folder: Path, text: str) -> Path:
    file = folder / "gateway.toml"
    file.write_text(text)
    return file


def test_a_good_configuration_is_read(tmp_path: Path):
    told = read_configuration(write(tmp_path, GOOD))

    assert isinstance(told.sensors[0], OneWireSensor)
    assert isinstance(told.sensors[1], ModbusSensor)
    assert told.sensors[1].function == 4
    assert told.gateway.interval_s == 60


def test_the_example_that_ships_is_a_good_one(tmp_path: Path):
    text = (CHECKOUT / "deploy" / "gateway" / "gateway.toml").read_text()
    (tmp_path / "password").write_text("secret\n")
    (tmp_path / "drumkeep-ca.crt").write_text("")

    told = read_configuration(write(tmp_path, text))

    assert [sensor.__struct_config__.tag for sensor in told.sensors] == [
        "one-wire",
        "hwmon",
        "iio",
        "modbus",
        "battery",
        "signal",
    ]
    assert isinstance(told.sensors[1], HwmonSensor)


@pytest.mark.parametrize(
    ("good", "bad", "line", "field", "mend"),
    [
        ('site = "north"', "site = north", 2, "file", "quotes"),
        ('site = "north"', 'site = "a/b"', 2, "gateway.site 'a/b'", "1 to 80 characters"),
        ('code = "attic"', 'code = "alarms"', 3, "gateway.code 'alarms'", "another code"),
        ('code = "attic"', "", 1, "gateway.code", "Add a line code"),
        ("urn = ", 'interface = "eth0"\nurn = ', 1, "gateway", "Give urn"),
        ("urn:dev:os:32473-attic", "attic", 4, "gateway.urn 'attic'", "urn:dev:"),
        ('host = "127.0.0.1"', 'hots = "127.0.0.1"', 8, "broker.hots '127.0.0.1'", "mean host"),
        ("[[modbus]]", "port = 0\n[[modbus]]", 10, "broker.port 0", ">= 1"),
        ("[[modbus]]", 'port = "x"\n[[modbus]]', 10, "broker.port 'x'", "int"),
        ("[[modbus]]", 'username = "x"\n[[modbus]]', 10, "broker.username 'x'", "both"),
        (
            "[[modbus]]",
            '[broker.tls]\nca = "no.pem"\n[[modbus]]',
            11,
            "broker.tls.ca 'no.pem'",
            "PEM",
        ),
        ('bus = "shed"', 'bus = "barn"', 20, "sensors.1.bus 'barn'", "shed"),
        ('unit = "Cel"', 'unit = "degF"', 22, "sensors.1.unit 'degF'", "0.55556"),
        ('unit = "Cel"', "", 18, "sensors.1.unit", "Add unit"),
        ('name = "dock"', 'name = "_"', 23, "sensors.1.name '_'", "begin with a letter"),
        ('name = "dock"', "", 18, "sensors.1.name", "Add a name"),
        ("register = 0", "register = -1", 21, "sensors.1.register -1", ">= 0"),
        ("register = 0", "register = 0\nscale = 0", 22, "sensors.1.scale 0", "not 0"),
        ("register = 0", "register = 0\nscale = nan", 22, "sensors.1.scale nan", "a number"),
        ("register = 0", "register = 0\noffset = inf", 22, "sensors.1.offset inf", "leave it out"),
        (
            "register = 0",
            'register = 65533\ntype = "float64"',
            21,
            "sensors.1.register 65533",
            "past the last one",
        ),
        ("register = 0", "", 18, "sensors.1.register", "Add a line register"),
        ("28-0316a2794bff", "28-03", 16, "sensors.0.device '28-03'", "regex"),
        ('driver = "modbus"', 'driver = "modbuss"', 19, "sensors.1.driver 'modbuss'", "modbuss"),
        (
            'name = "dock"',
            'name = "dock"\n' + TWIN,
            29,
            "sensors.2.name 'dock'",
            "sensors.1 has it",
        ),
        ('driver = "modbus"', AGAIN, 20, "sensors.1.device '28-0316a2794bff'", "sensors.0 has it"),
        ('host = "127.0.0.1"', 'host = "a..b"', 8, "broker.host 'a..b'", "broker.example"),
        ('host = "127.0.0.1"', 'host = "mqtts://a"', 8, "broker.host 'mqtts://a'", "address"),
        ('host = "127.0.0.1"', 'host = "a:8883"', 8, "broker.host 'a:8883'", "its own key"),
        ('name = "shed"\nhost = "127.0.0.1"', 'name = "shed"\nhost = "a b"', 12, HOST, "address"),
        ('name = "shed"', 'name = "shed"\ndevice = "x"', 10, "modbus.0", "host for Modbus TCP"),
    ],
)
def test_a_configuration_that_cannot_be_used_names_line_and_mend(  # noqa: PLR0917
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    good: str,
    bad: str,
    line: int,
    field: str,
    mend: str,
):
    assert good in GOOD
    file = write(tmp_path, GOOD.replace(good, bad, 1))

    with pytest.raises(ConfigurationError) as refusal:
        read_configuration(file)
    assert (refusal.value.line, refusal.value.field) == (line, field)
    assert mend in str(refusal.value)
    for command in ("check", "run"):
        assert main([command, str(file)]) == 2
        assert f"line {line}: {field}" in capsys.readouterr().err


def test_a_file_that_is_not_there_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert main(["check", str(tmp_path / "nowhere.toml")]) == 2
    assert "cannot be read" in capsys.readouterr().err


def test_a_board_that_does_not_say_which_start_this_is_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    file = write(tmp_path, f'{GOOD}[linux]\nprocfs = "nowhere"\n')

    assert main(["check", str(file)]) == 2
    assert "linux.procfs 'nowhere' does not show" in capsys.readouterr().err


def test_a_password_is_never_shown(tmp_path: Path):
    file = write(tmp_path, GOOD.replace("[[modbus]]", 'password = "hunter2"\n[[modbus]]', 1))

    with pytest.raises(ConfigurationError) as refusal:
        read_configuration(file)
    assert "hunter2" not in str(refusal.value)


def test_check_prints_what_would_be_sent(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    text = GOOD[: GOOD.index("[[modbus]]")] + (
        '[clock]\ntrust = "always"\n[linux]\nsysfs = "sys"\n'
        '[[sensors]]\ndriver = "simulation"\nmean = 4.5\nunit = "Cel"\nname = "hall"\n'
        '[[sensors]]\ndriver = "one-wire"\ndevice = "28-0316a2794bff"\n'
    )

    assert main(["check", str(write(tmp_path, text))]) == 1

    told = capsys.readouterr().out
    assert "drumkeep/v1/north/attic/readings" in told
    (line,) = (line for line in told.splitlines() if line.startswith("["))
    pack = decode_pack(line.encode(), received_at=0)
    assert [(record.name, record.unit, record.value) for record in pack.records] == [
        ("urn:dev:os:32473-attic:hall", "Cel", 4.5)
    ]
    assert "urn:dev:ow:28ff4b79a21603" in told
    assert "no reading: device missing" in told
    assert not (tmp_path / "state").exists()
