"""Thermometers on the kernel's 1-Wire bus (``w1_therm``): DS18B20 and its family.

The kernel's file ``w1_slave`` shows the nine octets of the scratchpad twice, with whether their
checksum fits, and the temperature in thousandths of a degree::

    a2 00 4b 46 7f ff 0e 10 d8 : crc=d8 YES
    a2 00 4b 46 7f ff 0e 10 d8 t=10125
"""

import re
from pathlib import Path
from typing import Final

from drumkeep_sensors.drivers.driver import Unreadable

POWER_ON_C: Final = 85.0
"""What a DS18B20 holds until its first conversion (Maxim data sheet, table 1, note)."""

NEAR_K: Final = 5.0
"""How near the reading before must have been for 85 °C to be believed; judgement."""

LOWEST_C: Final = -55.0
HIGHEST_C: Final = 125.0
"""The range of the DS18B20 (Maxim data sheet)."""

_SLAVE: Final = re.compile(
    r"(?P<octets>(?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (?P<fits>YES|NO)\n.*\bt=(?P<milli>-?\d+)\s*"
)
_POLYNOMIAL: Final = 0x8C
"""x^8 + x^5 + x^4 + 1, the least significant bit first (Maxim application note 27)."""


class OneWireThermometer:
    """One thermometer, by its folder.

    ``w1_slave`` is read where the kernel has it, since it shows the checksum; else ``temperature``.
    What is wrong or doubtful is read once more before it is given up: 85 °C counts only after a
    reading near it.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._last: float | None = None

    def read(self) -> float:
        """Return °C."""
        try:
            self._last = self._read()
        except Unreadable:
            self._last = self._read()
        return self._last

    def _read(self) -> float:
        value = self._once()
        if not LOWEST_C <= value <= HIGHEST_C:
            raise Unreadable("out of the thermometer's range")
        near = self._last is not None and abs(self._last - value) <= NEAR_K
        if value == POWER_ON_C and not near:
            raise Unreadable("power-on value 85 °C")
        return value

    def _once(self) -> float:
        try:
            slave = self._folder / "w1_slave"
            if not slave.exists():
                return int((self._folder / "temperature").read_text()) / 1000
            shown = _SLAVE.fullmatch(slave.read_text())
        except OSError as error:
            missing = isinstance(error, FileNotFoundError)
            raise Unreadable("device missing" if missing else f"{error.strerror}") from None
        except ValueError:
            raise Unreadable("no number") from None
        if shown is None:
            raise Unreadable("no scratchpad")
        octets = bytes.fromhex(shown["octets"])
        if shown["fits"] == "NO" or crc8(octets[:-1]) != octets[-1]:
            raise Unreadable("wrong checksum")
        if not any(octets):
            raise Unreadable("data line held low")  # and nine zeros have a fitting checksum
        return int(shown["milli"]) / 1000


def crc8(octets: bytes) -> int:
    """Return the checksum of 1-Wire devices."""
    remainder = 0
    for octet in octets:
        remainder ^= octet
        for _ in range(8):
            remainder = (remainder >> 1) ^ (_POLYNOMIAL if remainder & 1 else 0)
    return remainder


def device_urn(device: str) -> str:
    """Return the device name of RFC 9039 §4.2 of a folder of the kernel.

    The kernel writes the family and the serial number with its most significant octet first; the
    device name has the eight octets as they come over the wire, least significant first, with the
    checksum at the end.
    """
    family, _, serial = device.partition("-")
    octets = bytes.fromhex(family) + bytes.fromhex(serial)[::-1]
    return f"urn:dev:ow:{octets.hex()}{crc8(octets):02x}"
