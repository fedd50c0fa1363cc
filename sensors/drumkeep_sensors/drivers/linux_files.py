"""Values that the Linux kernel shows as files: hwmon, IIO, batteries, wireless signal.

Numbers in folder names change from one start to the next, so chips are found by their name each
time. Units are those of the kernel's documentation (ABI/testing/sysfs-class-hwmon, sysfs-bus-iio,
sysfs-class-power).
"""

import re
from pathlib import Path
from typing import Final

from drumkeep_sensors.drivers.driver import Unreadable

# Divided by and not multiplied with their inverse, 3987000 µV are 3.987 V and not 3.9869999…
MILLI_IN_ONE: Final = 1e3
MICRO_IN_ONE: Final = 1e6
DBM_PER_DBW: Final = 30.0
"""0 dBW is 1 W, 30 dBm; SenML has dBW alone (RFC 8428 §12.1)."""


_KIND: Final = re.compile("in_[a-z]+")
"""Of an IIO channel, without its number or what it is called further."""


class HwmonChannel:
    """``temp1``, ``humidity1`` or ``in1`` of a chip: thousandths of °C, %RH or V."""

    def __init__(self, *, sysfs: Path, chip: str, channel: str, at: str | None) -> None:
        self._root = sysfs / "class" / "hwmon"
        self._chip, self._channel, self._at = chip, channel, at

    def read(self) -> float:
        """Return °C, %RH or V."""
        folder = _named(self._root, self._chip, self._at)
        fault = folder / f"{self._channel}_fault"
        if fault.exists() and _number(fault) != 0:
            raise Unreadable("chip reports a fault")
        return _number(folder / f"{self._channel}_input") / MILLI_IN_ONE


class IioChannel:
    """A channel of an IIO device: processed, or raw with offset and scale; thousandths likewise."""

    def __init__(self, *, sysfs: Path, chip: str, channel: str, at: str | None) -> None:
        self._root = sysfs / "bus" / "iio" / "devices"
        self._chip, self._channel, self._at = chip, channel, at

    def read(self) -> float:
        """Return °C, %RH or V."""
        folder = _named(self._root, self._chip, self._at)
        processed = folder / f"{self._channel}_input"
        if processed.exists():
            return _number(processed) / MILLI_IN_ONE
        raw = _number(folder / f"{self._channel}_raw")
        scale = self._shown(folder, "scale")
        if scale is None:
            raise Unreadable("raw value without a scale")
        return (raw + (self._shown(folder, "offset") or 0.0)) * scale / MILLI_IN_ONE

    def _shown(self, folder: Path, what: str) -> float | None:
        """Return what the channel has of its own, or shares with its kind or with all."""
        kind = _KIND.match(self._channel)
        shared = [] if kind is None else [f"{kind[0]}_{what}"]
        for name in (f"{self._channel}_{what}", *shared, f"in_{what}", what):
            if (folder / name).exists():
                return _number(folder / name)
        return None


class Battery:
    """Charge in percent, or voltage, which the kernel gives in millionths of a volt."""

    def __init__(self, *, sysfs: Path, supply: str, voltage: bool) -> None:
        folder = sysfs / "class" / "power_supply" / supply
        self._file = folder / ("voltage_now" if voltage else "capacity")
        self._divisor = MICRO_IN_ONE if voltage else 1.0

    def read(self) -> float:
        """Return V, or %EL."""
        return _number(self._file) / self._divisor


class WirelessSignal:
    """The level of a wireless interface: third number of its line, dBm."""

    def __init__(self, *, procfs: Path, interface: str) -> None:
        self._file = procfs / "net" / "wireless"
        self._interface = interface

    def read(self) -> float:
        """Return dBW."""
        try:
            for line in self._file.read_text().splitlines():
                interface, _, columns = line.partition(":")
                if interface.strip() == self._interface:
                    return float(columns.split()[2]) - DBM_PER_DBW
        except (OSError, ValueError, IndexError):
            pass
        raise Unreadable("interface missing")


def hardware_urn(*, sysfs: Path, interface: str) -> str:
    """Return the device name of RFC 9039 §4.1: the hardware address with fffe in its middle.

    Raises
    ------
    Unreadable
        There is no such interface, or it has no hardware address of 48 bits.
    """
    try:
        octets = bytes.fromhex(
            (sysfs / "class" / "net" / interface / "address").read_text().strip().replace(":", "")
        )
    except (OSError, ValueError):
        raise Unreadable("interface missing") from None
    if len(octets) != _MAC_OCTETS or not any(octets):
        raise Unreadable("interface without a hardware address")
    return f"urn:dev:mac:{octets[:3].hex()}fffe{octets[3:].hex()}"


_MAC_OCTETS: Final = 6


def _named(root: Path, chip: str, at: str | None) -> Path:
    """Find the one device of a name, and where that is not enough, of a place."""
    found = [
        folder
        for folder in (sorted(root.iterdir()) if root.is_dir() else [])
        if _text(folder / "name") == chip and at in (None, _place(folder))
    ]
    if not found:
        raise Unreadable("device missing")
    if len(found) > 1:
        places = ", ".join(_place(folder) for folder in found)
        raise Unreadable(f"several devices of this name: give at, one of {places}")
    return found[0]


def _place(folder: Path) -> str:
    """``1-0044`` for a chip on bus 1: hwmon links to it, IIO lies in it."""
    link = folder / "device"
    return link.resolve().name if link.exists() else folder.resolve().parent.name


def _text(file: Path) -> str:
    try:
        return file.read_text(errors="replace").strip()  # somebody else's chip, by any name
    except OSError:
        return ""


def _number(file: Path) -> float:
    try:
        return float(file.read_text())
    except FileNotFoundError:
        raise Unreadable("device missing") from None
    except OSError as error:
        raise Unreadable(f"{error.strerror}") from None
    except ValueError:
        raise Unreadable("no number") from None
