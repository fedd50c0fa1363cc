"""A gateway's configuration, checked as a whole before anything starts.

``deploy/gateway/gateway.toml`` in the checkout shows every key with its meaning.
"""

import difflib
import math
import re
import tomllib
from pathlib import Path
from typing import Any

import msgspec

from drumkeep_sensors.tables import (
    LAST_REGISTER,
    REGISTER_BITS,
    TABLES,
    UNITS,
    AnySensor,
    BrokerTable,
    Configuration,
    CsvSensor,
    GatewayTable,
    ModbusSensor,
    OneWireSensor,
    SimulatedSensor,
)
from drumkeep_sensors.toml_lines import Path as TomlPath
from drumkeep_sensors.toml_lines import line_at, lines_of
from drumkeep_wire.errors import WireError
from drumkeep_wire.records import SPOOL_MARK, check_name
from drumkeep_wire.topics import Topics


class ConfigurationError(Exception):
    """A configuration that cannot be used; says where, what stands there, and the mend.

    Attributes
    ----------
    line
        Line in the file, from 1; None where the file itself is at fault.
    field
        Dotted path into the file.
    """

    def __init__(self, file: Path, line: int | None, field: str, problem: str, mend: str) -> None:
        where = str(file) if line is None else f"{file}, line {line}"
        super().__init__(f"{where}: {field} {problem}. {mend}".replace(":  ", ": "))
        self.line = line
        self.field = field


def read_configuration(file: Path) -> Configuration:
    """Read a file, and check it as far as that is possible without touching a sensor.

    Raises
    ------
    ConfigurationError
        It cannot be read or used; the first thing that is wrong is told.
    """
    try:
        text = file.read_text(encoding="utf-8")
        told = tomllib.loads(text)
    except OSError as error:
        problem = f"cannot be read: {error.strerror}"
        raise ConfigurationError(file, None, "file", problem, "Name a file that can.") from None
    except UnicodeDecodeError:
        raise ConfigurationError(file, None, "file", "is not UTF-8", "Save it so.") from None
    except tomllib.TOMLDecodeError as error:
        raise _not_toml(file, str(error)) from None
    reader = _Reader(file, text, told)
    try:
        configuration = msgspec.convert(told, Configuration)
    except msgspec.ValidationError as error:
        raise reader.refusal(str(error)) from None
    reader.check(configuration)
    return configuration


def _not_toml(file: Path, reason: str) -> ConfigurationError:
    place = re.search(r"line (\d+)", reason)
    return ConfigurationError(
        file,
        int(place[1]) if place else None,
        "file",
        f"is not TOML: {reason}",
        'Write key = value, text in "quotes", tables as [name] (toml.io).',
    )


def _own_name(sensor: AnySensor) -> tuple[str, str]:
    """Return what tells a sensor from the others, and the key that says it."""
    if sensor.name is None and isinstance(sensor, OneWireSensor):
        return sensor.device, "device"
    return sensor.name or "", "name"


class _Reader:
    """Says what is wrong with a file, and where."""

    def __init__(self, file: Path, text: str, told: dict[str, Any]) -> None:
        self._file = file
        self._lines = lines_of(text)
        self._told = told

    def fault(self, path: TomlPath, problem: str, mend: str) -> ConfigurationError:
        """Name a path, its line and what stands there."""
        field = ".".join(map(str, path)) or "file"
        value = self._value(path)
        if "password" in field:
            value = None
        shown = field if value is None or isinstance(value, dict | list) else f"{field} {value!r}"
        line = line_at(self._lines, path)
        return ConfigurationError(self._file, line, shown, problem, mend)

    def refusal(self, reason: str) -> ConfigurationError:
        """Turn msgspec's words into ours."""
        why, _, place = reason.partition(" - at ")
        steps = re.findall(r"\[(\d+)\]|\.(\w+)", place)
        path: TomlPath = tuple(int(index) if index else key for index, key in steps)
        if missing := re.search(r"missing required field `(\w+)`", why):
            key = missing[1]
            return self.fault((*path, key), "is missing", f"Add a line {key} = … there.")
        if unknown := re.search(r"unknown field `(\w+)`", why):
            return self.fault((*path, unknown[1]), "is not known", self._spelling(unknown[1]))
        if "pattern" in why or "range" in why or "length" in why:
            return self.fault(path, "is not allowed", f"{why}.")
        return self.fault(path, "cannot be used", f"{why}; see deploy/gateway/gateway.toml.")

    def check(self, told: Configuration) -> None:
        """Check what lies between tables."""
        self._check_who(told.gateway, told.broker)
        self._check_broker(told.broker)
        buses = [bus.name for bus in told.modbus]
        for index, bus in enumerate(told.modbus):
            if (bus.host is None) == (bus.device is None):
                raise self.fault(
                    ("modbus", index),
                    "names not one way to reach it",
                    "Give host for Modbus TCP, or device for RTU on a serial port.",
                )
            if buses.index(bus.name) != index:
                raise self.fault(("modbus", index, "name"), "is taken", "Give it another.")
            if bus.host is not None:
                self._check_host(("modbus", index, "host"), bus.host)
        names: dict[str, int] = {}
        for index, sensor in enumerate(told.sensors):
            self._check_sensor(("sensors", index), sensor, buses)
            own, key = _own_name(sensor)
            if names.setdefault(own, index) != index:
                mend = f"Give each its own; sensors.{names[own]} has it already."
                raise self.fault(("sensors", index, key), "is taken", mend)

    def _check_who(self, gateway: GatewayTable, broker: BrokerTable) -> None:
        try:
            Topics(broker.root).readings(site=gateway.site, gateway=gateway.code)
        except WireError as error:
            path = {"root": ("broker", "root"), "gateway": ("gateway", "code")}
            at = path.get(error.field, ("gateway", error.field))
            raise self.fault(at, error.problem, error.mend) from None
        if (gateway.urn is None) == (gateway.interface is None):
            raise self.fault(
                ("gateway",),
                "has not one name",
                'Give urn = "urn:dev:…" (RFC 9039), or interface = "eth0" to take its address.',
            )
        if gateway.urn is not None:
            self._check_name(("gateway", "urn"), gateway.urn)
            if not gateway.urn.startswith("urn:dev:"):
                mend = 'Begin it with urn:dev: such as "urn:dev:os:32473-attic" (RFC 9039).'
                raise self.fault(("gateway", "urn"), "is no device name", mend)

    def _check_host(self, path: TomlPath, host: str) -> None:
        sound = host.count(":") != 1 and not set("/@ ") & set(host)
        try:
            host.encode("idna")  # as the resolver does; what fails there is no OSError
        except UnicodeError:
            sound = False
        if not sound:
            mend = 'Write a name such as "broker.example" or an address; a port has its own key.'
            raise self.fault(path, "is no host", mend)

    def _check_broker(self, broker: BrokerTable) -> None:
        self._check_host(("broker", "host"), broker.host)
        if broker.password is not None and broker.password_file is not None:
            mend = "Keep password_file, and take the other away."
            raise self.fault(("broker", "password"), "is given twice", mend)
        has_password = broker.password is not None or broker.password_file is not None
        if has_password != (broker.username is not None):
            mend = "Give both username and password_file, or neither."
            raise self.fault(("broker", "username"), "and password go together", mend)
        files = {"password_file": broker.password_file}
        if (tls := broker.tls) is not None:
            if (tls.certificate is None) != (tls.key is None):
                mend = "Give both certificate and key, or neither."
                raise self.fault(("broker", "tls"), "has half a certificate", mend)
            files |= {"tls.ca": tls.ca, "tls.certificate": tls.certificate, "tls.key": tls.key}
        for key, name in files.items():
            if name is None:
                continue
            try:
                (self._file.parent / name).open("rb").close()
            except OSError as error:
                problem = f"cannot be read: {error.strerror}"
                mend = "Name a PEM file, or for a password a text file, that this user may read."
                raise self.fault(("broker", *key.split(".")), problem, mend) from None

    def _check_sensor(self, path: TomlPath, sensor: AnySensor, buses: list[str]) -> None:
        if sensor.unit is not None and sensor.unit not in UNITS:
            mend = (
                f"Use one of {', '.join(UNITS)}. A register in °F becomes Cel with scale = 0.55556 "
                "and offset = -17.7778."
            )
            raise self.fault((*path, "unit"), "is no SenML unit used here", mend)
        unknown = isinstance(sensor, ModbusSensor | CsvSensor | SimulatedSensor)
        if sensor.unit is None and unknown:
            raise self.fault((*path, "unit"), "is missing", 'Add unit = "Cel" or "%RH".')
        if sensor.name is None and not isinstance(sensor, OneWireSensor):
            raise self.fault((*path, "name"), "is missing", 'Add a name such as "dock-air".')
        if sensor.name is not None:
            self._check_name((*path, "name"), sensor.name)
        if isinstance(sensor, ModbusSensor) and sensor.bus not in buses:
            mend = f"Name one of the [[modbus]] tables: {', '.join(buses) or 'there is none'}."
            raise self.fault((*path, "bus"), "is not known", mend)
        if isinstance(sensor, ModbusSensor):
            self._check_value(path, sensor)

    def _check_value(self, path: TomlPath, sensor: ModbusSensor) -> None:
        if not math.isfinite(sensor.scale) or sensor.scale == 0:
            raise self.fault((*path, "scale"), "makes no value", "Give a number that is not 0.")
        if not math.isfinite(sensor.offset):
            raise self.fault((*path, "offset"), "makes no value", "Give a number, or leave it out.")
        last = sensor.register + int(sensor.type[-2:]) // REGISTER_BITS - 1
        if last > LAST_REGISTER:
            mend = f"A {sensor.type} beginning there would end past the last one, {LAST_REGISTER}."
            raise self.fault((*path, "register"), "is too high", mend)

    def _check_name(self, path: TomlPath, name: str) -> None:
        try:
            check_name(name, 0)
        except WireError as error:
            raise self.fault(path, error.problem, error.mend) from None
        if SPOOL_MARK in f"{name}:":
            raise self.fault(path, "names a spool", f"Leave {SPOOL_MARK} out of it.")

    def _spelling(self, key: str) -> str:
        known = {name for table in TABLES for name in table.__struct_fields__}
        near = difflib.get_close_matches(key, known, n=1)
        return f"Did you mean {near[0]}?" if near else "Take it away."

    def _value(self, path: TomlPath) -> object:
        found: Any = self._told
        for step in path:
            try:
                found = found[step]
            except (KeyError, IndexError, TypeError):
                return None
        return found
