"""Sparkplug B payloads, encoded by hand: a writer that shares nothing with the reader it tests.

Field numbers: Eclipse Sparkplug 3.0.0 specification, 6.4, "Google Protocol Buffer Schema". The
encoding: protobuf.dev/programming-guides/encoding.
"""

import struct

Number = float | int


def payload(time_ms: int | None, *metrics: bytes, seq: int | None = None) -> bytes:
    """Return a payload of these metrics."""
    parts = [b"" if time_ms is None else varint_field(1, time_ms)]
    parts += [octets_field(2, one) for one in metrics]
    parts += [b"" if seq is None else varint_field(3, seq)]
    return b"".join(parts)


def metric(
    name: str | None,
    value: Number | None,
    *,
    time_ms: int | None,
    alias: int | None = None,
    datatype: int | None = None,
    historical: bool = False,
    **properties: str | int,
) -> bytes:
    """Return a metric: a float as Float (field 12), an int as a whole number of 64 bits (11)."""
    parts = [
        b"" if name is None else octets_field(1, name.encode()),
        b"" if alias is None else varint_field(2, alias),
        b"" if time_ms is None else varint_field(3, time_ms),
        b"" if datatype is None else varint_field(4, datatype),
        varint_field(5, 1) if historical else b"",
        octets_field(9, _properties(properties)) if properties else b"",
    ]
    if value is None:
        parts.append(varint_field(7, 1))
    elif isinstance(value, float):
        parts.append(varint(12 << 3 | 5) + struct.pack("<f", value))
    else:
        parts.append(varint_field(11, value % 2**64))
    return b"".join(parts)


def _properties(properties: dict[str, str | int]) -> bytes:
    keys = [octets_field(1, key.encode()) for key in properties]
    values = [
        octets_field(
            2,
            varint_field(1, 12) + octets_field(8, value.encode())
            if isinstance(value, str)
            else varint_field(1, 3) + varint_field(3, value),
        )
        for value in properties.values()
    ]
    return b"".join(keys + values)


def varint_field(number: int, value: int) -> bytes:
    """Return a field that holds a whole number."""
    return varint(number << 3) + varint(value)


def octets_field(number: int, octets: bytes) -> bytes:
    """Return a field that holds octets: a text or a message."""
    return varint(number << 3 | 2) + varint(len(octets)) + octets


def varint(value: int) -> bytes:
    """Return a whole number, seven bits to an octet, the lowest first."""
    octets = bytearray()
    while value > 127:
        octets.append(value & 127 | 128)
        value >>= 7
    octets.append(value)
    return bytes(octets)
