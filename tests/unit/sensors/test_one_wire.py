"""1-Wire thermometers, from the files that the kernel's w1_therm shows."""

from pathlib import Path

import pytest

from drumkeep_sensors.drivers.driver import Unreadable
from drumkeep_sensors.drivers.one_wire import OneWireThermometer, crc8, device_urn

# Captures as posted by users of DS18B20 on Linux; their checksums are the devices' own.
WARM = (
    "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n",
    23.125,
)
POWER_ON = "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n"
BROKEN = "72 01 4b 46 7f ff 0e 10 57 : crc=58 NO\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"
ZEROS = "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n"


def shown(temperature: int) -> str:
    """Return what the kernel shows for a raw value, in sixteenths of a degree."""
    low, high = (temperature & 0xFFFF).to_bytes(2, "little")
    octets = bytes([low, high, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10])
    octets += bytes([crc8(octets)])
    text = octets.hex(" ")
    return f"{text} : crc={octets[-1]:02x} YES\n{text} t={temperature * 1000 // 16}\n"


def thermometer(folder: Path, text: str) -> OneWireThermometer:
    (folder / "w1_slave").write_text(text)
    return OneWireThermometer(folder)


def test_a_capture_is_read(tmp_path: Path):
    text, celsius = WARM

    assert thermometer(tmp_path, text).read() == celsius


@pytest.mark.parametrize(
    ("raw", "celsius"),
    # DS18B20 data sheet, table 1 (85 °C aside).
    [(0x07D0, 125.0), (0x0191, 25.0625), (0x0008, 0.5), (0, 0.0), (-0x0008, -0.5), (-880, -55.0)],
)
def test_the_table_of_the_data_sheet_is_read(tmp_path: Path, raw: int, celsius: float):
    # The kernel cuts to thousandths.
    assert thermometer(tmp_path, shown(raw)).read() == pytest.approx(celsius, abs=0.001)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        (POWER_ON, "power-on value 85 °C"),
        (BROKEN, "wrong checksum"),
        (WARM[0].replace("72 01", "73 01"), "wrong checksum"),
        (ZEROS, "data line held low"),
        ("", "no scratchpad"),
        (shown(16 * 200), "out of the thermometer's range"),
    ],
)
def test_what_is_no_reading_is_kept_out_with_its_reason(tmp_path: Path, text: str, reason: str):
    with pytest.raises(Unreadable) as refusal:
        thermometer(tmp_path, text).read()

    assert str(refusal.value) == reason


def test_a_device_that_is_not_there_is_told(tmp_path: Path):
    with pytest.raises(Unreadable, match="device missing"):
        OneWireThermometer(tmp_path / "28-0316a2794bff").read()


def test_85_degrees_count_after_a_reading_near_them(tmp_path: Path):
    sensor = thermometer(tmp_path, shown(16 * 82))
    assert sensor.read() == 82.0
    (tmp_path / "w1_slave").write_text(POWER_ON)

    assert sensor.read() == 85.0


def test_one_bad_answer_is_read_once_more(tmp_path: Path):
    class Recovering(OneWireThermometer):
        asked = 0

        def _once(self) -> float:
            self.asked += 1
            (tmp_path / "w1_slave").write_text(BROKEN if self.asked == 1 else WARM[0])
            return super()._once()

    sensor = Recovering(tmp_path)

    assert (sensor.read(), sensor.asked) == (23.125, 2)


def test_newer_kernels_show_the_temperature_alone(tmp_path: Path):
    (tmp_path / "temperature").write_text("-10125\n")
    assert OneWireThermometer(tmp_path).read() == -10.125

    (tmp_path / "temperature").write_text("85000\n")
    with pytest.raises(Unreadable, match="power-on"):
        OneWireThermometer(tmp_path).read()

    (tmp_path / "temperature").write_text("")
    with pytest.raises(Unreadable, match="no number"):
        OneWireThermometer(tmp_path).read()


def test_the_checksum_is_that_of_1_wire():
    # Maxim application note 27, the worked example.
    assert crc8(bytes.fromhex("021cb801000000")) == 0xA2


def test_the_device_name_is_that_of_rfc_9039():
    # RFC 9039 §4.2 has urn:dev:ow:10e2073a01080063; the kernel turns the serial number round.
    assert device_urn("10-0008013a07e2") == "urn:dev:ow:10e2073a01080063"
