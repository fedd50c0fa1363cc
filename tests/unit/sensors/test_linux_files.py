"""What the kernel shows as files: units of its ABI documents, chips found by name."""

from pathlib import Path

import pytest

from drumkeep_sensors.drivers.driver import Unreadable
from drumkeep_sensors.drivers.linux_files import (
    Battery,
    HwmonChannel,
    IioChannel,
    WirelessSignal,
    hardware_urn,
)


def device(folder: Path, **files: str) -> Path:
    folder.mkdir(parents=True)
    for name, text in files.items():
        (folder / name).write_text(f"{text}\n")
    return folder


def hwmon(sysfs: Path, channel: str, chip: str = "sht3x", at: str | None = None) -> float:
    return HwmonChannel(sysfs=sysfs, chip=chip, channel=channel, at=at).read()


def test_hwmon_is_found_by_name_and_read_in_thousandths(tmp_path: Path):
    root = tmp_path / "class" / "hwmon"
    device(root / "hwmon0", name="cpu_thermal", temp1_input="48312")
    device(root / "hwmon1", name="sht3x", temp1_input="-4250", humidity1_input="61500")

    assert hwmon(tmp_path, "temp1") == -4.25
    assert hwmon(tmp_path, "humidity1") == 61.5
    with pytest.raises(Unreadable, match="device missing"):
        hwmon(tmp_path, "temp2")
    with pytest.raises(Unreadable, match="device missing"):
        hwmon(tmp_path, "temp1", chip="lm75")


def test_a_chip_that_reports_a_fault_gives_no_reading(tmp_path: Path):
    device(tmp_path / "class/hwmon/hwmon0", name="sht3x", temp1_input="0", temp1_fault="1")

    with pytest.raises(Unreadable, match="fault"):
        hwmon(tmp_path, "temp1")


def test_of_two_chips_of_one_name_the_place_must_be_told(tmp_path: Path):
    for number, place in enumerate(("1-0044", "1-0045")):
        behind = device(tmp_path / "devices" / place)
        folder = device(
            tmp_path / f"class/hwmon/hwmon{number}", name="sht3x", temp1_input=f"{number}000"
        )
        (folder / "device").symlink_to(behind)

    with pytest.raises(Unreadable, match="give at, one of 1-0044, 1-0045"):
        hwmon(tmp_path, "temp1")
    assert hwmon(tmp_path, "temp1", at="1-0045") == 1.0


def test_iio_is_read_processed_or_raw_with_offset_and_scale(tmp_path: Path):
    root = tmp_path / "bus" / "iio" / "devices"
    device(root / "iio:device0", name="bme280", in_temp_input="21840")
    # hdc100x, whose driver gives (raw - 15887.5) × 2.5177 thousandths: Documentation/ABI, si7020.
    device(
        root / "iio:device1",
        name="si7020",
        in_temp_raw="25000",
        in_temp_offset="-4368",
        in_temp_scale="10.725097656",
        in_humidityrelative_raw="60",
        in_humidityrelative_scale="732.42187",
    )
    # An ADC, whose channels share a scale by kind; one whose channels share it by direction.
    device(
        root / "iio:device2",
        name="mcp3208",
        in_voltage0_raw="2048",
        in_voltage1_raw="1024",
        in_voltage1_scale="2.0",
        in_voltage_scale="0.805664",
        in_voltage_offset="4",
    )
    device(root / "iio:device3", name="other", in_temp_ambient_raw="10", in_scale="500", in_x="1")
    device(root / "iio:device4", name="bare", in_temp_raw="21840")

    def read(chip: str, channel: str) -> float:
        return IioChannel(sysfs=tmp_path, chip=chip, channel=channel, at=None).read()

    assert read("bme280", "in_temp") == 21.84
    assert read("si7020", "in_temp") == pytest.approx((25000 - 4368) * 10.725097656e-3)
    assert read("si7020", "in_humidityrelative") == pytest.approx(60 * 0.73242187)
    assert read("mcp3208", "in_voltage0") == pytest.approx((2048 + 4) * 0.805664e-3)
    assert read("mcp3208", "in_voltage1") == pytest.approx((1024 + 4) * 2.0e-3)
    assert read("other", "in_temp_ambient") == 5.0
    with pytest.raises(Unreadable, match="without a scale"):
        read("bare", "in_temp")


def test_a_strange_name_of_another_chip_is_no_concern(tmp_path: Path):
    root = tmp_path / "class" / "hwmon"
    device(root / "hwmon0", name="")
    (root / "hwmon0" / "name").write_bytes(b"\xff\xfe")
    device(root / "hwmon1", name="sht3x", temp1_input="21500")

    assert HwmonChannel(sysfs=tmp_path, chip="sht3x", channel="temp1", at=None).read() == 21.5


def test_a_battery_tells_charge_and_voltage(tmp_path: Path):
    device(tmp_path / "class/power_supply/battery", capacity="87", voltage_now="3987000")

    assert Battery(sysfs=tmp_path, supply="battery", voltage=False).read() == 87.0
    assert Battery(sysfs=tmp_path, supply="battery", voltage=True).read() == 3.987
    with pytest.raises(Unreadable, match="missing"):
        Battery(sysfs=tmp_path, supply="ups", voltage=False).read()


def test_a_signal_in_dbm_is_told_in_dbw(tmp_path: Path):
    (tmp_path / "net").mkdir()
    (tmp_path / "net" / "wireless").write_text(
        "Inter-| sta-|   Quality        |   Discarded packets               | Missed | WE\n"
        " face | tus | link level noise |  nwid  crypt   frag  retry   misc | beacon | 22\n"
        " wlan0: 0000   54.  -56.  -256        0      0      0      0      0        0\n"
    )

    assert WirelessSignal(procfs=tmp_path, interface="wlan0").read() == -86.0
    with pytest.raises(Unreadable, match="missing"):
        WirelessSignal(procfs=tmp_path, interface="wlan1").read()


def test_a_hardware_address_names_the_gateway_as_rfc_9039_does(tmp_path: Path):
    device(tmp_path / "class/net/eth0", address="00:24:be:80:4f:f1")
    device(tmp_path / "class/net/lo", address="00:00:00:00:00:00")

    # RFC 9039 §4.1.
    assert hardware_urn(sysfs=tmp_path, interface="eth0") == "urn:dev:mac:0024befffe804ff1"
    for interface in ("lo", "eth1"):
        with pytest.raises(Unreadable, match="interface"):
            hardware_urn(sysfs=tmp_path, interface=interface)
