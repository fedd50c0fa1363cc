"""What a simulated gateway is told: where it publishes, and what its sensors would have measured.

A scenario is a TOML or JSON file::

    site = "north"
    gateway = "attic"
    urn = "urn:dev:os:32473-attic"
    state = "attic-state"                 # folder, beside this file unless absolute

    [broker]
    host = "127.0.0.1"
    port = 1883

    [[sensors]]
    name = "urn:dev:ow:10e2073a01080063:temp"
    unit = "Cel"
    points = "attic.csv"                  # lines of epoch seconds and value, times rising
"""

import csv
import json
import math
import tomllib
from bisect import bisect_right
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Final, Literal

import msgspec

from drumkeep_wire.errors import WireError
from drumkeep_wire.records import SPOOL_MARK, check_name
from drumkeep_wire.topics import DEFAULT_ROOT, Topics

_DAY_S: Final = 86_400


class ScenarioError(Exception):
    """A scenario that cannot be played; says which field, its value and the mend.

    Attributes
    ----------
    field
        Dotted path into the file, or the file itself.
    """

    def __init__(self, field: str, value: object, problem: str, mend: str) -> None:
        super().__init__(f"{field} {value!r} {problem}. {mend}")
        self.field = field


_Port = Annotated[int, msgspec.Meta(ge=1, le=65_535)]
_Seconds = Annotated[int, msgspec.Meta(ge=1, le=_DAY_S)]


class BrokerAddress(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Where the broker is."""

    host: str
    port: _Port = 1883
    root: str = DEFAULT_ROOT
    username: str | None = None
    password: str | None = None


class SimulatedSensor(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One sensor and the curve that it reads.

    Attributes
    ----------
    name, unit
        As in SenML.
    points
        CSV file of epoch seconds and value; between points lie straight lines.
    history_interval_s, live_interval_s
        How often it reads: before the gateway started, and from then on.
    silent_from
        From this epoch second on it says nothing more.
    beyond
        After its last point it is silent, or it reads the last 24 hours again and again.
    """

    name: str
    unit: str
    points: str
    history_interval_s: _Seconds = 300
    live_interval_s: _Seconds = 60
    silent_from: float | None = None
    beyond: Literal["silent", "repeat"] = "silent"


class Scenario(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One gateway.

    Attributes
    ----------
    state
        Folder where it keeps which packs it sent; a restart goes on from there.
    history_from
        Epoch second of the first reading; the earliest point of all curves if it is not given.
    """

    site: str
    gateway: str
    urn: str
    state: str
    broker: BrokerAddress
    sensors: Annotated[list[SimulatedSensor], msgspec.Meta(min_length=1)]
    history_from: float | None = None


class Curve:
    """A curve of straight lines between points.

    Parameters
    ----------
    points
        Epoch seconds, rising, and values; at least one.
    silent_from
        No value from this epoch second on.
    repeats
        Whether the last 24 hours come again after the last point.
    """

    def __init__(
        self, points: list[tuple[float, float]], *, silent_from: float | None, repeats: bool
    ) -> None:
        self._times = [time for time, _ in points]
        self._values = [value for _, value in points]
        self._silent_from = math.inf if silent_from is None else silent_from
        self._repeats = repeats

    @property
    def begins(self) -> float:
        """Epoch seconds of the first point."""
        return self._times[0]

    def value_at(self, time: float) -> float | None:
        """Return the value at an epoch second, to a thousandth; None where there is none."""
        last = self._times[-1]
        if time >= self._silent_from or time < self._times[0]:
            return None
        if time > last:
            if not self._repeats:
                return None
            time -= math.ceil((time - last) / _DAY_S) * _DAY_S
            if time < self._times[0]:
                return None  # it has not lasted for a day yet
        right = bisect_right(self._times, time)
        if right == len(self._times):
            return round(self._values[-1], 3)
        t0, t1 = self._times[right - 1], self._times[right]
        v0, v1 = self._values[right - 1], self._values[right]
        return round(v0 + (v1 - v0) * (time - t0) / (t1 - t0), 3)


def read_scenario(file: Path) -> tuple[Scenario, list[Curve]]:
    """Read a scenario and the curves of its sensors, in their order.

    Raises
    ------
    ScenarioError
        The file or one that it names cannot be read, or a field cannot be used.
    """
    scenario = _read(file)
    try:
        topics = Topics(scenario.broker.root)
        topics.readings(site=scenario.site, gateway=scenario.gateway)
    except WireError as error:
        field = f"broker.{error.field}" if error.field == "root" else error.field
        raise ScenarioError(field, error.value, error.problem, error.mend) from None
    _check_named("urn", f"{scenario.urn}{SPOOL_MARK}00000000")
    names: set[str] = set()
    curves = []
    for index, sensor in enumerate(scenario.sensors):
        field = f"sensors.{index}"
        _check_named(f"{field}.name", sensor.name)
        if sensor.name in names or SPOOL_MARK in sensor.name:
            raise ScenarioError(f"{field}.name", sensor.name, "is taken", "Give it another.")
        names.add(sensor.name)
        curves.append(
            Curve(
                read_points(file.parent / sensor.points, f"{field}.points"),
                silent_from=sensor.silent_from,
                repeats=sensor.beyond == "repeat",
            )
        )
    return scenario, curves


def _read(file: Path) -> Scenario:
    try:
        text = file.read_text(encoding="utf-8")
        told: Any = json.loads(text) if file.suffix == ".json" else tomllib.loads(text)
        return msgspec.convert(told, Scenario)
    except OSError as error:
        problem = f"cannot be read: {error.strerror}"
        raise ScenarioError("file", str(file), problem, "Name a file that can.") from None
    except msgspec.ValidationError as error:
        reason, _, path = str(error).partition(" - at ")
        field = path.strip("`").removeprefix("$").removeprefix(".") or "scenario"
        field = field.replace("[", ".").replace("]", "")
        raise ScenarioError(field, _found(told, field), f"cannot be used: {reason}", _SEE) from None
    except (ValueError, RecursionError) as error:
        kind = "JSON" if file.suffix == ".json" else "TOML"
        raise ScenarioError("file", str(file), f"is not {kind}: {error}", _SEE) from None


_SEE: Final = "See drumkeep-gateway simulate --help for what stands where."


def _found(told: Any, field: str) -> object:  # noqa: ANN401 - whatever the file holds
    """Return what stands at a path of the file, None if nothing does."""
    for step in field.split("."):
        if isinstance(told, dict):
            told = told.get(step)
        elif isinstance(told, list) and step.isdigit() and int(step) < len(told):
            told = told[int(step)]
        else:
            return None
    return None if isinstance(told, dict | list) else told


def _check_named(field: str, name: str) -> None:
    try:
        check_name(name, 0)
    except WireError as error:
        raise ScenarioError(field, error.value, error.problem, error.mend) from None


def read_points(file: Path, field: str) -> list[tuple[float, float]]:
    """Read lines of epoch seconds and value.

    Raises
    ------
    ScenarioError
        The file cannot be read, or is no curve; names ``field``.
    """
    mend = "Write lines of epoch seconds and value, times rising, with a comma between."
    points: list[tuple[float, float]] = []
    try:
        for number, row in _rows(file):
            where = f"{file.name}, line {number}"
            time, value = (float(cell) for cell in row)
            if not (math.isfinite(time) and math.isfinite(value)):
                raise ScenarioError(field, where, "holds no finite numbers", mend)
            if points and time <= points[-1][0]:
                raise ScenarioError(field, where, "is not later than the line before", mend)
            points.append((time, value))
    except OSError as error:
        problem = f"cannot be read: {error.strerror}"
        raise ScenarioError(field, str(file), problem, "Name a file that can.") from None
    except (ValueError, csv.Error):
        raise ScenarioError(field, where, "is not two numbers", mend) from None
    if not points:
        raise ScenarioError(field, str(file), "holds no points", mend)
    return points


def _rows(file: Path) -> Iterator[tuple[int, list[str]]]:
    with file.open(encoding="utf-8", newline="") as lines:
        for number, row in enumerate(csv.reader(lines), start=1):
            if row:
                yield number, row
