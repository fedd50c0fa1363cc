"""Sparkplug B on the wire: its topics, and its payloads in protocol buffers.

Only the fields that can hold a reading are known here; a reader of protocol buffers skips the
rest. Texts are read as octets: the numbers and types on the wire are the same, and a wrong one
then spoils its own metric and not the whole payload.

References
----------
Eclipse Sparkplug 3.0.0 specification, 2022: chapter 4 (topics); section 6.4, "Google Protocol
Buffer Schema" for the field numbers below, "Data Types" for the numbers of datatypes.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any, Final

from google.protobuf.descriptor_pb2 import (
    DescriptorProto,
    FieldDescriptorProto,
    FileDescriptorProto,
)
from google.protobuf.descriptor_pool import DescriptorPool
from google.protobuf.message import DecodeError
from google.protobuf.message_factory import GetMessageClass

from drumkeep.domain.grid import to_ms

NAMESPACE: Final = "spBv1.0"
MOST_METRICS: Final = 5000
"""Of one payload; a reading takes a hundred times as much memory as its two octets can."""
REBIRTH: Final = "Node Control/Rebirth"

Value = float | bool | str | None


class Kind(StrEnum):
    """What a message says; commands and the state of hosts are others' business."""

    NODE_BIRTH = "NBIRTH"
    NODE_DEATH = "NDEATH"
    NODE_DATA = "NDATA"
    DEVICE_BIRTH = "DBIRTH"
    DEVICE_DEATH = "DDEATH"
    DEVICE_DATA = "DDATA"


OF_A_NODE: Final = frozenset({Kind.NODE_BIRTH, Kind.NODE_DEATH, Kind.NODE_DATA})
BIRTHS: Final = frozenset({Kind.NODE_BIRTH, Kind.DEVICE_BIRTH})


@dataclass(frozen=True, slots=True)
class Address:
    """Whose message it is; ``device`` is empty for the edge node itself."""

    group: str
    kind: Kind
    node: str
    device: str


@dataclass(frozen=True, slots=True)
class Metric:
    """One metric as it came.

    Attributes
    ----------
    name, alias, time_ms, datatype
        None if left out.
    value
        As its field on the wire holds it: whole numbers without their sign.
    properties
        Those of single values.
    """

    name: str | None
    alias: int | None
    time_ms: int | None
    datatype: int | None
    transient: bool
    null: bool
    value: Value
    properties: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Payload:
    """A payload as it came."""

    time_ms: int | None
    seq: int | None
    metrics: tuple[Metric, ...]


class NoPayload(ValueError):
    """Why octets are no payload; ``problem`` is a clause, ``mend`` a sentence."""

    def __init__(self, problem: str, mend: str) -> None:
        super().__init__(problem)
        self.problem = problem
        self.mend = mend


def address_of(topic: str) -> Address | None:
    """Read a topic ``spBv1.0/group/kind/node[/device]``; None if it is none that has readings."""
    namespace, *levels = topic.split("/")
    if namespace != NAMESPACE or not 3 <= len(levels) <= 4 or not all(levels):  # noqa: PLR2004
        return None
    group, word, node, *device = levels
    if word not in set(Kind):
        return None
    kind = Kind(word)
    if (kind in OF_A_NODE) == bool(device):
        return None
    return Address(group, kind, node, device[0] if device else "")


def command_topic(*, group: str, node: str) -> str:
    """Topic on which an edge node takes commands."""
    return f"{NAMESPACE}/{group}/NCMD/{node}"


def decode(octets: bytes) -> Payload:
    """Read a payload.

    Raises
    ------
    NoPayload
        It is none, or has too many metrics.
    """
    message = _Payload()
    try:
        message.ParseFromString(octets)
    except DecodeError:
        raise NoPayload(
            "is no Sparkplug B payload",
            "Send protocol buffers as the Sparkplug 3.0 specification has them.",
        ) from None
    if len(message.metrics) > MOST_METRICS:
        raise NoPayload(
            f"has {len(message.metrics)} metrics", f"Send at most {MOST_METRICS} at once."
        )
    return Payload(
        time_ms=_given(message, "timestamp"),
        seq=_given(message, "seq"),
        metrics=tuple(map(_metric, message.metrics)),
    )


def rebirth_request(*, now: datetime) -> bytes:
    """Return the payload that asks an edge node for its births again; commands carry no ``seq``."""
    message = _Payload(timestamp=to_ms(now))
    message.metrics.add(
        name=REBIRTH.encode(), timestamp=to_ms(now), datatype=_BOOLEAN, boolean_value=True
    )
    octets: bytes = message.SerializeToString()
    return octets


def number_of(value: Value, datatype: int | None) -> float | None:
    """Return a metric's value as a number by its datatype; None if it is none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    if datatype in _SIGNED_BITS and isinstance(value, int):
        bits = _SIGNED_BITS[datatype]
        # Small ones come with their sign in 8, 16 or 32 bits: the lowest say the same.
        low = value & ((1 << bits) - 1)
        value = low - (1 << bits) if low >> (bits - 1) else low
    elif datatype is not None and datatype not in _UNSIGNED_OR_REAL:
        return None
    return float(value) if math.isfinite(value) else None


def is_number(datatype: int | None) -> bool:
    """Whether a metric of this datatype holds one number."""
    return datatype in _SIGNED_BITS or datatype in _UNSIGNED_OR_REAL


_BOOLEAN: Final = 11
_SIGNED_BITS: Final = {1: 8, 2: 16, 3: 32, 4: 64}
_UNSIGNED_OR_REAL: Final = frozenset({5, 6, 7, 8, 9, 10})
"""Datatypes Int8 to Int64; UInt8 to UInt64, Float, Double."""

_VALUES: Final = {
    "int_value": 10,
    "long_value": 11,
    "float_value": 12,
    "double_value": 13,
    "boolean_value": 14,
    "string_value": 15,
}
_PROPERTY_VALUES: Final = {
    "int_value": 3,
    "long_value": 4,
    "float_value": 5,
    "double_value": 6,
    "boolean_value": 7,
    "string_value": 8,
}
_TYPES: Final = {
    "int_value": FieldDescriptorProto.TYPE_UINT32,
    "long_value": FieldDescriptorProto.TYPE_UINT64,
    "float_value": FieldDescriptorProto.TYPE_FLOAT,
    "double_value": FieldDescriptorProto.TYPE_DOUBLE,
    "boolean_value": FieldDescriptorProto.TYPE_BOOL,
    "string_value": FieldDescriptorProto.TYPE_BYTES,
}


def _file() -> FileDescriptorProto:
    bytes_, bool_ = FieldDescriptorProto.TYPE_BYTES, FieldDescriptorProto.TYPE_BOOL
    u32, u64 = FieldDescriptorProto.TYPE_UINT32, FieldDescriptorProto.TYPE_UINT64
    file = FileDescriptorProto(name="sparkplug_b", package=NAMESPACE.replace(".", "_"))
    file.syntax = "proto2"
    value = _message(file, "PropertyValue", {"type": (1, u32), "is_null": (2, bool_)})
    _one_of(value, _PROPERTY_VALUES)
    properties = _message(file, "PropertySet", {})
    _add(properties, "keys", 1, bytes_, repeated=True)
    _add(properties, "values", 2, "PropertyValue", repeated=True)
    metric = _message(
        file,
        "Metric",
        {
            "name": (1, bytes_),
            "alias": (2, u64),
            "timestamp": (3, u64),
            "datatype": (4, u32),
            "is_historical": (5, bool_),
            "is_transient": (6, bool_),
            "is_null": (7, bool_),
        },
    )
    _add(metric, "properties", 9, "PropertySet")
    _one_of(metric, _VALUES)
    payload = _message(file, "Payload", {"timestamp": (1, u64), "seq": (3, u64)})
    _add(payload, "metrics", 2, "Metric", repeated=True)
    return file


def _message(
    file: FileDescriptorProto, name: str, fields: Mapping[str, tuple[int, int]]
) -> DescriptorProto:
    made: DescriptorProto = file.message_type.add(name=name)
    for label, (number, kind) in fields.items():
        _add(made, label, number, kind)
    return made


def _add(
    message: DescriptorProto, name: str, number: int, kind: int | str, *, repeated: bool = False
) -> FieldDescriptorProto:
    proto = FieldDescriptorProto
    made: FieldDescriptorProto = message.field.add(
        name=name,
        number=number,
        label=proto.LABEL_REPEATED if repeated else proto.LABEL_OPTIONAL,
        type=proto.TYPE_MESSAGE if isinstance(kind, str) else kind,
    )
    if isinstance(kind, str):
        made.type_name = kind
    return made


def _one_of(message: DescriptorProto, values: Mapping[str, int]) -> None:
    message.oneof_decl.add(name="value")
    for name, number in values.items():
        _add(message, name, number, _TYPES[name]).oneof_index = 0


_POOL: Final = DescriptorPool()  # of our own: another program's schema of this name is no clash
_FILE: Final = _POOL.AddSerializedFile(_file().SerializeToString())
_Payload: Final = GetMessageClass(_FILE.message_types_by_name["Payload"])


def _metric(message: Any) -> Metric:  # noqa: ANN401 - made while running
    name = _given(message, "name")
    return Metric(
        name=None if name is None else _text(name),
        alias=_given(message, "alias"),
        time_ms=_given(message, "timestamp"),
        datatype=_given(message, "datatype"),
        transient=message.is_transient,
        null=message.is_null,
        value=_value(message),
        properties=dict(_properties(message.properties)) if message.HasField("properties") else {},
    )


def _properties(message: Any) -> Iterator[tuple[str, Value]]:  # noqa: ANN401
    for key, value in zip(message.keys, message.values, strict=False):
        yield _text(key), None if value.is_null else _value(value)


def _value(message: Any) -> Value:  # noqa: ANN401
    which = message.WhichOneof("value")
    if which is None:
        return None
    value: float | bytes = getattr(message, which)
    return _text(value) if isinstance(value, bytes) else value


def _given(message: Any, name: str) -> Any:  # noqa: ANN401
    return getattr(message, name) if message.HasField(name) else None


def _text(octets: bytes) -> str:
    """Read a text; no database keeps NUL."""
    return octets.decode(errors="replace").replace("\0", "\N{REPLACEMENT CHARACTER}")
