"""What the metrics of a Sparkplug message become: readings, or a reason why not.

A reading's name is the gateway's URN (RFC 9039), a colon, then ``node//metric`` of an edge node or
``node/device/metric`` of a device on it. Octets that SenML does not allow in names, and the colon,
are written as a colon and two hexadecimal digits, so that no two metrics share a name.

A historical metric (``is_historical``) is a late reading like any other; a transient one is none.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from fnmatch import fnmatchcase
from typing import Final

from drumkeep.domain.readings import AHEAD, OLDEST, Reading, Rejection, sift
from drumkeep.domain.sensors import name_fault
from drumkeep.domain.unit_words import as_sent, unit_meant
from drumkeep.operations.sparkplug_wire import (
    BIRTHS,
    Address,
    Metric,
    Payload,
    Value,
    is_number,
    number_of,
)

GOOD: Final = 192
_QUALITIES: Final = {
    0: ("was marked bad by the device", "Look at the sensor and its wires."),
    500: ("was marked stale by the device", "Look at what lies between sensor and edge node."),
}
"""Eclipse Sparkplug 3.0.0, 6.4, "Quality Codes"."""

_UNIT_KEYS: Final = ("engunit", "engunits", "unit", "units")
_CONTROLS: Final = ("Node Control/", "Node Info/", "Device Control/", "Device Info/", "Properties/")
_SESSION: Final = "bdSeq"
_PLAIN: Final = re.compile(r"[A-Za-z0-9._/-]")
LONGEST_NAME: Final = 200
"""Characters of a metric's name that are told apart; a sensor's name has fewer."""


@dataclass(frozen=True, slots=True)
class Reads:
    """How a group's metrics are read: the gateway's URN, and pairs of pattern and unit."""

    urn: str
    units: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Born:
    """What a birth said of a metric; ``unit`` is None when it is no reading."""

    device: str
    name: str
    alias: int | None
    datatype: int | None
    unit: str | None


@dataclass(frozen=True, slots=True)
class Births:
    """What is known of an edge node's metrics."""

    by_alias: Mapping[int, Born] = field(default_factory=dict)
    by_name: Mapping[tuple[str, str], Born] = field(default_factory=dict)

    @classmethod
    def of(cls, born: Iterable[Born]) -> "Births":
        """Return these, ready to be looked up."""
        some = list(born)
        return cls(
            {one.alias: one for one in some if one.alias is not None},
            {(one.device, one.name): one for one in some},
        )


@dataclass(frozen=True, slots=True)
class Metrics:
    """What is in one message.

    Attributes
    ----------
    born
        What it says of its metrics, if it is a birth.
    unknown
        Whether it has metrics of which no birth is known.
    """

    readings: tuple[Reading, ...]
    rejections: tuple[Rejection, ...]
    born: tuple[Born, ...] = ()
    unknown: bool = False


@dataclass(frozen=True, slots=True)
class _Record:
    """A metric that may be a reading, as :func:`sift` takes it; ``path`` is what people call it."""

    name: str
    unit: str | None
    value: object
    time: float
    index: int
    path: str


class _Refused(Exception):
    """Why a metric is no reading."""

    def __init__(self, value: object, problem: str, mend: str, *, unknown: bool = False) -> None:
        super().__init__(problem)
        self.reason = (value, problem, mend)
        self.unknown = unknown


def read_metrics(
    payload: Payload,
    *,
    address: Address,
    reads: Reads,
    births: Births,
    received_at: datetime,
    retained: bool = False,
) -> Metrics:
    """Find the readings in a birth or a data message.

    Parameters
    ----------
    payload, address
        The message.
    reads
        How its group is read.
    births
        What is known of its edge node; a birth needs none.
    received_at
        When it came: the time of a metric that says none.
    retained
        Whether the broker had kept it, so that nobody knows when it was sent.
    """
    records: list[_Record] = []
    rejections: list[Rejection] = []
    born: list[Born] = []
    unknown = False
    is_birth = address.kind in BIRTHS
    for index, metric in enumerate(payload.metrics):
        path = _path(address.device, metric.name or f"alias {metric.alias}")
        try:
            if is_birth:
                known, fault = _born(metric, address, reads)
                born.append(known)
                if fault is not None:
                    raise fault
            else:
                known = _known(metric, address, reads, births)
            if known.unit is None or metric.transient:
                continue
            time_s = _time_s(metric, payload, received_at, retained=retained)
            value, unit = _value(metric, known)
        except _Refused as refused:
            rejections.append(Rejection(index, path, *refused.reason))
            unknown |= refused.unknown
        else:
            name = sensor_name(reads.urn, address.node, known.device, known.name)
            path = _path(known.device, known.name)
            records.append(_Record(name, unit, value, time_s, index, path))
    readings, refused_late = sift(records, now=received_at)
    paths = {record.index: record.path for record in records}
    clock_s = _clock_s(payload, received_at)
    named = [
        replace(one, field=paths[one.index or 0], ahead_s=one.ahead_s and clock_s)
        for one in refused_late
    ]
    return Metrics(readings, (*rejections, *named), tuple(born), unknown)


def session_of(payload: Payload) -> int | None:
    """Return the number of a birth's or death's session (``bdSeq``), if it says one."""
    for metric in payload.metrics:
        if metric.name == _SESSION and isinstance(metric.value, int):
            return metric.value
    return None


def sensor_name(urn: str, node: str, device: str, metric: str) -> str:
    """Return what the readings of a metric are called."""
    return f"{urn}:{_escaped(node)}/{_escaped(device)}/{_escaped(metric, folders=True)}"


def _escaped(text: str, *, folders: bool = False) -> str:
    return "".join(
        letter
        if _PLAIN.fullmatch(letter) and (folders or letter != "/")
        else "".join(f":{octet:02x}" for octet in letter.encode())
        for letter in text
    )


def _path(device: str, name: str) -> str:
    return f"{device}/{name}" if device else name


def _born(metric: Metric, address: Address, reads: Reads) -> tuple[Born, _Refused | None]:
    """Return what a birth says of a metric, and why it is no reading if that is worth telling."""
    name = (metric.name or "")[:LONGEST_NAME]
    none = Born(address.device, name, metric.alias, metric.datatype, None)
    if not metric.name:
        return none, _Refused(None, "has no name in a birth", "Name every metric in births.")
    if not is_number(metric.datatype) or name == _SESSION or name.startswith(_CONTROLS):
        return none, None
    given = _engineering_unit(metric.properties)
    unit = unit_meant(given) or _unit_said(_path(address.device, name), reads)
    if unit is None:
        # A device has much to tell that is no business of ours, such as speeds and pressures.
        if given is not None:
            return none, None
        mend = "Have the device send engUnit, or say the unit on the page of Sparkplug devices."
        return none, _Refused(None, "says no unit", mend)
    fault = name_fault(sensor_name(reads.urn, address.node, address.device, metric.name))
    if fault is not None:
        return none, _Refused(
            fault.value, "makes too long a name", "Give group, device or metric a shorter one."
        )
    return replace(none, unit=unit), None


def _known(metric: Metric, address: Address, reads: Reads, births: Births) -> Born:
    if metric.alias is not None and (known := births.by_alias.get(metric.alias)) is not None:
        return known
    if metric.name is not None:
        found = births.by_name.get((address.device, metric.name[:LONGEST_NAME]))
        if found is not None:
            return found
        told, _ = _born(metric, address, reads)
        if told.unit is not None:  # it says all that a birth would
            return told
        if metric.name == _SESSION or metric.name.startswith(_CONTROLS):
            return told
    raise _Refused(
        None,
        "was in no birth that is known",
        "Have the edge node send its births again (Node Control/Rebirth).",
        unknown=True,
    )


def _engineering_unit(properties: Mapping[str, Value]) -> Value:
    lowered = {key.lower(): value for key, value in properties.items()}
    return next((lowered[key] for key in _UNIT_KEYS if lowered.get(key)), None)


def _unit_said(path: str, reads: Reads) -> str | None:
    for pattern, unit in reads.units:
        if fnmatchcase(path.lower(), pattern.lower()):
            return unit_meant(unit)
    return None


def _time_s(metric: Metric, payload: Payload, received_at: datetime, *, retained: bool) -> float:
    for said in (metric.time_ms, payload.time_ms):
        if said is not None:
            return said / 1000
    if retained:
        raise _Refused(
            None,
            "was retained and says no time, so nobody knows when it was",
            "Have the edge node send times, and publish without the retain flag.",
        )
    return received_at.timestamp()


def _clock_s(payload: Payload, received_at: datetime) -> float | None:
    """Return how far the sender's clock is ahead; None when it is right, whatever its metrics say.

    A birth tells a value that has long stood still with the time at which it came.
    """
    if payload.time_ms is None:
        return None
    sent, came = payload.time_ms / 1000, received_at.timestamp()
    in_time = came - OLDEST.total_seconds() <= sent <= came + AHEAD.total_seconds()
    return None if in_time else sent - came


def _value(metric: Metric, known: Born) -> tuple[float, str]:
    quality = next((v for k, v in metric.properties.items() if k.lower() == "quality"), None)
    if quality is not None and quality != GOOD:
        code = quality if isinstance(quality, int) else -1
        unheard = ("has a quality that is not known", f"Send {GOOD} for good, 0 or 500.")
        raise _Refused(f"Quality {quality}", *_QUALITIES.get(code, unheard))
    if metric.null or metric.value is None:
        raise _Refused(None, "has no value", "Look at the sensor and its wires.")
    number = number_of(metric.value, metric.datatype or known.datatype)
    if number is None:
        raise _Refused(str(metric.value), "is no number", "Send it with its datatype in births.")
    assert known.unit is not None  # noqa: S101 - the caller looked
    return as_sent(number, known.unit)
