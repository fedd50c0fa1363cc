"""Batteries and signals: whose they are, and how they are told."""

from dataclasses import dataclass
from datetime import UTC, datetime

import pytest

from drumkeep.domain.devices import bearer, is_low, said
from drumkeep.domain.readings import sift
from drumkeep.domain.sensors import Quantity

NOW = datetime(2026, 2, 5, 12, tzinfo=UTC)


@dataclass
class Sent:
    """A record as it came."""

    unit: str
    value: float
    name: str = "urn:dev:os:32473-attic:power"
    time: float = NOW.timestamp()
    index: int = 0


@pytest.mark.parametrize(
    ("unit", "value", "quantity", "stored"),
    [
        ("%EL", 34.0, Quantity.BATTERY, 34.0),
        ("V", 3.98, Quantity.VOLTAGE, 3.98),
        ("dBW", -113.0, Quantity.SIGNAL, -113.0),
        # RFC 8798, table 2: mV = V x 1/1000; dBm = dBW with an offset of -30.
        ("mV", 3980.0, Quantity.VOLTAGE, 3.98),
        ("dBm", -83.0, Quantity.SIGNAL, -113.0),
        # RFC 8428, section 12.1: K; 0 degrees Celsius are 273.15 K by definition.
        ("K", 293.15, Quantity.TEMPERATURE, 20.0),
    ],
)
def test_units_are_brought_to_the_one_of_their_quantity(
    unit: str, value: float, quantity: Quantity, stored: float
):
    (reading,), rejections = sift([Sent(unit, value)], now=NOW)

    assert rejections == ()
    assert reading.quantity == quantity
    assert reading.value == pytest.approx(stored)


@pytest.mark.parametrize(
    ("unit", "value"), [("%EL", 101.0), ("V", -0.1), ("mV", 1e7), ("dBm", 61.0), ("dBW", -201.0)]
)
def test_what_no_battery_or_radio_says_is_refused(unit: str, value: float):
    readings, (rejection,) = sift([Sent(unit, value)], now=NOW)

    assert readings == ()
    assert rejection.field == "v"


@pytest.mark.parametrize(
    ("name", "device"),
    [
        ("urn:dev:os:32473-attic:battery", "urn:dev:os:32473-attic"),
        ("urn:dev:ow:10e2073a01080063_battery", "urn:dev:ow:10e2073a01080063"),
        ("battery", ""),
    ],
)
def test_a_name_says_of_which_device_it_is(name: str, device: str):
    assert bearer(name) == device


def test_values_are_told_as_devices_show_them():
    assert said(34.2, quantity=Quantity.BATTERY) == "34 %"
    assert said(-113.0, quantity=Quantity.SIGNAL) == "\N{MINUS SIGN}83 dBm"
    assert said(3.981, quantity=Quantity.VOLTAGE) == "3.98 V"


def test_an_empty_battery_and_a_faint_signal_are_low_and_no_voltage_is():
    assert is_low(Quantity.BATTERY, 20.0)
    assert not is_low(Quantity.BATTERY, 20.1)
    assert is_low(Quantity.SIGNAL, -110.0)
    assert not is_low(Quantity.SIGNAL, -109.0)
    assert not is_low(Quantity.VOLTAGE, 0.1)
