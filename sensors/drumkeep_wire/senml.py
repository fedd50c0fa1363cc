"""SenML packs in JSON, RFC 8428.

A pack is decoded into *resolved* records (RFC 8428 §4.6): base fields are applied, times are
absolute, and records stand in chronological order. One label repeated within one record is not
noticed: the last one counts, as in most readers of JSON.

The format names a record of ours too: ``{"n":"<gateway URN>:spool:<8 hex>","u":"count","v":n}``
says that the pack is number ``n`` of that spool file. It is taken out of the records.
"""

import base64
import binascii
import math
import re
from collections.abc import Sequence
from contextlib import suppress
from typing import Any, Final

import msgspec
from msgspec import UNSET, UnsetType

from drumkeep_wire.errors import WireError
from drumkeep_wire.records import (
    FIRST_ABSOLUTE_S,
    HIGHEST_NUMBER,
    SPOOL_MARK,
    VERSION,
    Pack,
    Record,
    Spool,
    Value,
    check_name,
    finite,
    is_name,
    spool_of,
)

MEDIA_TYPE: Final = "application/senml+json"


class _Fields(msgspec.Struct, gc=False):
    """A record as sent. UNSET and not None: a label with null is a wrong type, not absent."""

    bn: str | UnsetType = UNSET
    bt: float | UnsetType = UNSET
    bu: str | UnsetType = UNSET
    bv: float | UnsetType = UNSET
    bs: float | UnsetType = UNSET
    bver: int | float | UnsetType = UNSET
    n: str | UnsetType = UNSET
    u: str | UnsetType = UNSET
    v: float | UnsetType = UNSET
    vs: str | UnsetType = UNSET
    vb: bool | UnsetType = UNSET
    vd: str | UnsetType = UNSET
    s: float | UnsetType = UNSET
    t: float | UnsetType = UNSET
    ut: float | UnsetType = UNSET


_PLACE: Final = re.compile(r"`\$\[(\d+)\](?:\.(\w+))?")
_BASE64URL: Final = re.compile(r"[A-Za-z0-9_-]*={0,2}")
_MENDS: Final = {
    **dict.fromkeys(("bn", "bu", "n", "u", "vs"), "Send a JSON string."),
    **dict.fromkeys(("bt", "bv", "bs", "v", "s", "t", "ut"), "Send a JSON number."),
    "bver": f"Send a whole number from 1 to {VERSION}, or leave it out.",
    "vb": "Send true or false.",
    "vd": "Send the octets in base64url without padding.",
}
_decoder: Final = msgspec.json.Decoder(list[_Fields])
_raw_decoder: Final = msgspec.json.Decoder(list[dict[str, msgspec.Raw]])


def decode_pack(payload: bytes, *, received_at: float) -> Pack:
    """Decode and resolve a pack.

    Parameters
    ----------
    payload
        The pack in JSON, UTF-8.
    received_at
        What relative times are relative to, seconds since 1970.

    Raises
    ------
    WireError
        It is no pack of RFC 8428; the error names the record and the label.

    References
    ----------
    RFC 8428, Sensor Measurement Lists (SenML), 2018, sections 4 and 5.
    """
    fields = _parse(payload)
    if not fields:
        raise WireError("", None, "has no records", "Send an array of at least one record.")
    # Every label that must be understood ends so; the second look is for an escaped underscore.
    if b'_"' in payload or b"\\u" in payload:
        _refuse_must_understand(payload)
    return _resolve(fields, received_at)


def find_spool(payload: bytes) -> Spool | None:
    """Find the spool number of a pack that :func:`decode_pack` refuses.

    Returns
    -------
    Spool | None
        None when it carries none, or cannot be read even so far.
    """
    try:
        pack = msgspec.json.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    base_name = ""
    for record in pack if isinstance(pack, list) else []:
        if not isinstance(record, dict):
            continue
        if isinstance(record.get("bn"), str):
            base_name = record["bn"]
        name = base_name + record["n"] if isinstance(record.get("n"), str) else base_name
        if SPOOL_MARK in name:
            with suppress(WireError):
                return spool_of(name, record.get("u"), record.get("v"), 0)
    return None


def encode_pack(records: Sequence[Record], *, spool: Spool | None = None) -> bytes:
    """Write records as a pack that :func:`decode_pack` gives back as they were.

    ``index`` is not written: the records stand in the order given.

    Parameters
    ----------
    records
        At least one.
    spool
        Written as a record of its own, first.

    Raises
    ------
    WireError
        A record cannot be said in SenML: its name, a number that is not finite, a time before
        1978-07-04T21:24:16Z (which would read as relative), no value and no sum.
    """
    if not records:
        raise WireError("", None, "has no records", "Give at least one record.")
    lines: list[dict[str, Any]] = []
    if spool is not None:
        check_name(spool.name, 0)
        spool_of(spool.name, "count", spool.number, 0)
        lines.append({"n": spool.name, "u": "count", "v": spool.number})
    base_time: int | None = None
    if all(record.time.is_integer() and record.time <= HIGHEST_NUMBER for record in records):
        base_time = int(records[0].time)  # whole seconds add up exactly
    base_unit = None if any(record.unit is None for record in records) else records[0].unit
    for index, record in enumerate(records):
        line: dict[str, Any] = {}
        if index == 0:
            line |= {} if base_time is None else {"bt": base_time}
            line |= {} if base_unit is None else {"bu": base_unit}
        lines.append(line | _encode(record, index, base_time=base_time, base_unit=base_unit))
    return msgspec.json.encode(lines)


def _parse(payload: bytes) -> list[_Fields]:
    try:
        return _decoder.decode(payload)
    except msgspec.ValidationError as error:
        raise _located(payload, error) from None
    except RecursionError:
        raise WireError("", None, "is nested too deeply", "Send an array of records.") from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        problem = f"is not JSON in UTF-8 ({error})"
        raise WireError("", None, problem, "Send a JSON array of SenML records.") from None


def _located(payload: bytes, error: msgspec.ValidationError) -> WireError:
    """Say where a value of the wrong type stands, and what it was."""
    reason = str(error).partition(" - at ")[0]
    reason = reason.replace(" | null", "")
    problem = f"is of the wrong type ({reason[:1].lower()}{reason[1:]})"
    place = _PLACE.search(str(error))
    if place is None:
        return WireError("", None, problem, "Send an array of records.")
    index, label = int(place[1]), place[2]
    if label is None:
        return WireError(
            str(index), None, problem, "Send an object with SenML labels.", index=index
        )
    try:
        value = bytes(_raw_decoder.decode(payload)[index][label]).decode(errors="replace")
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, KeyError):
        value = None  # said without its value rather than not at all
    mend = _MENDS.get(label, "Follow RFC 8428.")
    return WireError(f"{index}.{label}", value, problem, mend, index=index)


def _refuse_must_understand(payload: bytes) -> None:
    """Refuse a label that ends in an underscore: none is known here (RFC 8428 §4.4)."""
    try:
        records = _raw_decoder.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        problem = f"is not JSON in UTF-8 ({error})"
        raise WireError("", None, problem, "Send a JSON array of SenML records.") from None
    for index, record in enumerate(records):
        for label in record:
            if label.endswith("_"):
                raise WireError(
                    f"{index}.{label}",
                    bytes(record[label]).decode(errors="replace"),
                    "must be understood, and is not",
                    "Leave out labels that end in an underscore.",
                    index=index,
                )


def _resolve(sent: list[_Fields], received_at: float) -> Pack:  # noqa: C901, PLR0912 - one pass
    # Every reading of every gateway passes here; so what raises is called only where it will.
    version: int | None = None
    base_name = ""
    base_time = base_value = 0.0
    base_unit: str | None = None
    base_sum: float | None = None
    spool: Spool | None = None
    relative = False
    ordered = True
    last_time = -math.inf
    records: list[Record] = []
    for index, fields in enumerate(sent):
        if fields.bver is not UNSET:
            version = _version(fields.bver, index, version)
        elif version is None:
            version = VERSION
        if fields.bn is not UNSET:
            base_name = fields.bn
        if fields.bt is not UNSET:
            base_time = fields.bt
        if fields.bu is not UNSET:
            base_unit = fields.bu
        if fields.bv is not UNSET:
            base_value = fields.bv
        if fields.bs is not UNSET:
            base_sum = fields.bs

        name = base_name if fields.n is UNSET else base_name + fields.n
        if not is_name(name):
            check_name(name, index)
        unit = base_unit if fields.u is UNSET else fields.u
        value = _value(fields, base_value, index)
        total = base_sum
        if fields.s is not UNSET:
            total = finite((base_sum or 0.0) + fields.s, index, "s")
        if SPOOL_MARK in name:
            if spool is not None:
                raise WireError(
                    f"{index}.n", name, "is a second spool number", "Send one.", index=index
                )
            spool = spool_of(name, unit, value, index)
            continue

        time = base_time if fields.t is UNSET else base_time + fields.t
        if time < FIRST_ABSOLUTE_S:
            relative = True
            time += received_at
        if not math.isfinite(time):
            finite(time, index, "t")
        ordered = ordered and time >= last_time
        last_time = time
        update_time = None if fields.ut is UNSET else fields.ut
        records.append(Record(name, unit, value, time, total, update_time, index))
    if not ordered:
        records.sort(key=_time_of)
    return Pack(tuple(records), spool, version or VERSION, relative)


def _time_of(record: Record) -> float:
    return record.time


def _version(sent: float, index: int, known: int | None) -> int:
    if sent < 1 or sent != int(sent):
        problem = "is no version"
    elif sent > VERSION:
        problem = "is a later version than this reader knows"
    elif known is not None and sent != known:
        problem = f"differs from version {known} of the records before"
    else:
        return int(sent)
    raise WireError(f"{index}.bver", sent, problem, _MENDS["bver"], index=index)


def _value(fields: _Fields, base_value: float, index: int) -> Value:
    if fields.vs is UNSET and fields.vb is UNSET and fields.vd is UNSET and fields.v is not UNSET:
        value = base_value + fields.v  # nearly every record there is
        return value if math.isfinite(value) else finite(value, index, "v")
    given: list[tuple[str, Value]] = []
    if fields.v is not UNSET:
        given.append(("v", finite(base_value + fields.v, index, "v")))
    if fields.vs is not UNSET:
        given.append(("vs", fields.vs))
    if fields.vb is not UNSET:
        given.append(("vb", fields.vb))
    if fields.vd is not UNSET:
        given.append(("vd", _octets(fields.vd, index)))
    if len(given) == 1:
        return given[0][1]
    if given:
        labels = ", ".join(label for label, _ in given)
        raise WireError(
            f"{index}.{given[1][0]}",
            given[1][1],
            f"is a second value of one record ({labels})",
            "Send one of v, vs, vb and vd.",
            index=index,
        )
    if fields.s is UNSET:
        raise WireError(
            f"{index}.v",
            None,
            "is missing, and so are vs, vb, vd and s",
            "Send a value or a sum.",
            index=index,
        )
    return None


def _octets(text: str, index: int) -> bytes:
    if _BASE64URL.fullmatch(text) is not None:
        bare = text.rstrip("=")
        try:
            return base64.urlsafe_b64decode(bare + "=" * (-len(bare) % 4))
        except binascii.Error:
            pass
    raise WireError(f"{index}.vd", text, "is not base64url", _MENDS["vd"], index=index)


def _encode(
    record: Record, index: int, *, base_time: int | None, base_unit: str | None
) -> dict[str, Any]:
    check_name(record.name, index)
    if SPOOL_MARK in record.name:
        raise WireError(
            f"{index}.n",
            record.name,
            "is kept for spool numbers",
            "Give it as the spool.",
            index=index,
        )
    if not math.isfinite(record.time) or record.time < FIRST_ABSOLUTE_S:
        raise WireError(
            f"{index}.t",
            record.time,
            "would be read as a relative time",
            f"Give seconds since 1970, from {FIRST_ABSOLUTE_S:.0f} on.",
            index=index,
        )
    line: dict[str, Any] = {"n": record.name}
    if record.unit != base_unit:
        line["u"] = record.unit
    if base_time is None:
        line["t"] = record.time
    elif (offset := int(record.time) - base_time) != 0:
        line["t"] = offset
    line |= _encode_value(record.value, index)
    if record.sum is not None:
        line["s"] = finite(record.sum, index, "s")
    elif record.value is None:
        raise WireError(
            f"{index}.v", None, "is missing, and so is the sum", "Give one.", index=index
        )
    if record.update_time is not None:
        line["ut"] = finite(record.update_time, index, "ut")
    return line


def _encode_value(value: Value, index: int) -> dict[str, Any]:
    match value:
        case None:
            return {}
        case bool():  # before float: a bool is an int to Python
            return {"vb": value}
        case str():
            return {"vs": value}
        case bytes():
            return {"vd": base64.urlsafe_b64encode(value).rstrip(b"=").decode()}
        case _:
            return {"v": finite(value, index, "v")}
