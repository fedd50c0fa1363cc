"""From the tables of a configuration to drivers."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from drumkeep_sensors.drivers.curves import CurveReplay, Sine
from drumkeep_sensors.drivers.driver import Driver
from drumkeep_sensors.drivers.linux_files import Battery, HwmonChannel, IioChannel, WirelessSignal
from drumkeep_sensors.drivers.modbus import ModbusBus, ModbusValue
from drumkeep_sensors.drivers.one_wire import OneWireThermometer, device_urn
from drumkeep_sensors.scenario import Curve, read_points
from drumkeep_sensors.tables import (
    BatterySensor,
    Configuration,
    CsvSensor,
    HwmonSensor,
    IioSensor,
    ModbusSensor,
    ModbusTable,
    OneWireSensor,
    SignalSensor,
    SimulatedSensor,
)

FILES: Final = "files"
"""The lane of what answers at once."""

_UNITS: Final = {"temp": "Cel", "humidity": "%RH", "in": "V"}
_IIO_UNITS: Final = {"in_temp": "Cel", "in_humidityrelative": "%RH", "in_voltage": "V"}


@dataclass(frozen=True)
class OpenSensor:
    """A sensor that can be read.

    Attributes
    ----------
    name, unit
        As in SenML.
    lane
        Sensors of one lane share a line, and are never read at once.
    """

    name: str
    unit: str
    interval_s: float
    lane: str
    driver: Driver


def open_sensors(
    told: Configuration, *, urn: str, folder: Path, clock: Callable[[], float]
) -> list[OpenSensor]:
    """Make the drivers of a configuration; no device is touched yet.

    Parameters
    ----------
    told
        The configuration.
    urn
        The gateway's own name: goes before a sensor's that has none of its own.
    folder
        What files are relative to.
    clock
        Gives epoch seconds, for curves.

    Raises
    ------
    ScenarioError
        A CSV file is no curve.
    """
    buses = {table.name: _bus(table) for table in told.modbus}
    opened = []
    for index, sensor in enumerate(told.sensors):
        if isinstance(sensor, ModbusSensor):
            driver: Driver = _register(buses[sensor.bus], sensor)
            lane, unit = f"modbus {sensor.bus}", ""
        elif isinstance(sensor, CsvSensor | SimulatedSensor):
            driver = _invented(sensor, folder, clock, f"sensors.{index}.file")
            lane, unit = FILES, ""
        else:
            driver, lane, unit = _kernel(sensor, folder, told)
        name = sensor.name
        if isinstance(sensor, OneWireSensor):
            name = name or f"{device_urn(sensor.device)}:temp"
        opened.append(
            OpenSensor(
                name=name if name and name.startswith("urn:") else f"{urn}:{name}",
                unit=sensor.unit or unit,
                interval_s=sensor.interval_s or told.gateway.interval_s,
                lane=lane,
                driver=driver,
            )
        )
    return opened


def _kernel(
    sensor: OneWireSensor | HwmonSensor | IioSensor | BatterySensor | SignalSensor,
    folder: Path,
    told: Configuration,
) -> tuple[Driver, str, str]:
    """Return the driver, lane and unit of what the kernel shows as files."""
    sysfs = folder / told.linux.sysfs
    if isinstance(sensor, OneWireSensor):
        return OneWireThermometer(sysfs / "bus/w1/devices" / sensor.device), "one-wire", "Cel"
    if isinstance(sensor, BatterySensor):
        voltage = sensor.what == "voltage"
        battery = Battery(sysfs=sysfs, supply=sensor.supply, voltage=voltage)
        return battery, FILES, "V" if voltage else "%EL"
    if isinstance(sensor, SignalSensor):
        procfs = folder / told.linux.procfs
        return WirelessSignal(procfs=procfs, interface=sensor.interface), FILES, "dBW"
    kind = HwmonChannel if isinstance(sensor, HwmonSensor) else IioChannel
    units = _UNITS if isinstance(sensor, HwmonSensor) else _IIO_UNITS
    unit = next(unit for begins, unit in units.items() if sensor.channel.startswith(begins))
    channel = kind(sysfs=sysfs, chip=sensor.chip, channel=sensor.channel, at=sensor.at)
    return channel, FILES, unit


def _bus(table: ModbusTable) -> ModbusBus:
    if table.host is not None:
        return ModbusBus.tcp(host=table.host, port=table.port, timeout_s=table.timeout_s)
    return ModbusBus.rtu(
        device=table.device or "",
        baud=table.baud,
        parity=table.parity,
        stop_bits=table.stop_bits,
        timeout_s=table.timeout_s,
    )


def _register(bus: ModbusBus, sensor: ModbusSensor) -> ModbusValue:
    return ModbusValue(
        bus,
        unit_id=sensor.unit_id,
        function=sensor.function,
        register=sensor.register,
        kind=sensor.type,
        word_order=sensor.word_order,
        scale=sensor.scale,
        offset=sensor.offset,
        missing=sensor.missing,
    )


def _invented(
    sensor: CsvSensor | SimulatedSensor, folder: Path, clock: Callable[[], float], field: str
) -> Driver:
    if isinstance(sensor, SimulatedSensor):
        return Sine(mean=sensor.mean, swing=sensor.swing, period_s=sensor.period_s, clock=clock)
    points = read_points(folder / sensor.file, field)
    curve = Curve(points, silent_from=None, repeats=sensor.beyond == "repeat")
    if sensor.begins == "recorded":
        return CurveReplay(curve, clock=clock)
    ahead = clock() - curve.begins
    return CurveReplay(curve, clock=lambda: clock() - ahead)
