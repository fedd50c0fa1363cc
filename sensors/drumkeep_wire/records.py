"""What a SenML pack holds once it is read: resolved records, and the spool number of the pack."""

import math
import re
from typing import Final

import msgspec

from drumkeep_wire.errors import WireError

VERSION: Final = 10
"""The version of SenML that RFC 8428 defines; a pack that says more must not be used (§4.4)."""

FIRST_ABSOLUTE_S: Final = 2.0**28
"""Times below are relative to now, times from here on are seconds since 1970 (§4.5.3)."""

HIGHEST_NUMBER: Final = 2**53 - 1
"""The highest spool number: the last whole number that every reader of JSON keeps exact."""

SPOOL_MARK: Final = ":spool:"
"""A name that holds it is the spool number's and no sensor's."""

Value = float | str | bool | bytes | None


class Record(msgspec.Struct, frozen=True, gc=False):
    """One resolved record.

    Attributes
    ----------
    name
        Base name and name, joined.
    unit
        Unit, else the base unit, else None.
    value
        What ``v`` (with the base value), ``vs``, ``vb`` or ``vd`` held; None with a sum alone.
    sum
        Integral of the value over time in unit times seconds (with the base sum), or None.
    time
        Seconds since 1970-01-01T00:00Z, leap seconds not counted.
    update_time
        Seconds until the next record of this name at the latest, or None.
    index
        Its place in the pack as sent, from 0.
    """

    name: str
    unit: str | None
    value: Value
    time: float
    sum: float | None = None
    update_time: float | None = None
    index: int = 0


class Spool(msgspec.Struct, frozen=True):
    """Which pack of which spool file of which gateway this is.

    Attributes
    ----------
    gateway
        The gateway's URN.
    file
        Eight hexadecimal digits, lower case; a new spool file has new ones.
    number
        The pack's number within that file.
    """

    gateway: str
    file: str
    number: int

    @property
    def name(self) -> str:
        """SenML name of the record that carries it."""
        return f"{self.gateway}:spool:{self.file}"


class Pack(msgspec.Struct, frozen=True):
    """A decoded pack.

    Attributes
    ----------
    records
        Resolved, in chronological order; records of one time keep the order in which they came.
    spool
        Its spool number, if it carries one.
    version
        SenML version it was written in.
    relative
        Whether a record gave its time relative to now, so that its time is known only as well as
        the moment of arrival.
    """

    records: tuple[Record, ...]
    spool: Spool | None
    version: int
    relative: bool


_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_SPOOL: Final = re.compile(r"(.+):spool:([0-9a-f]{8})")


is_name: Final = _NAME.fullmatch
"""Whether RFC 8428 §4.5.1 allows a joined name."""


def check_name(name: str, index: int) -> None:
    """Refuse a joined name that RFC 8428 §4.5.1 does not allow."""
    if not is_name(name):
        raise WireError(
            f"{index}.n",
            name,
            "is no SenML name",
            "Use A-Z a-z 0-9 - : . / _ and begin with a letter or digit (RFC 8428 4.5.1).",
            index=index,
        )


def finite(number: float, index: int, label: str) -> float:
    """Refuse a number that left the range of a double."""
    if not math.isfinite(number):
        raise WireError(
            f"{index}.{label}",
            number,
            "is out of range once its base is added",
            "Send numbers whose sum is a double (IEEE 754).",
            index=index,
        )
    return number


def spool_of(name: str, unit: str | None, value: Value, index: int) -> Spool:
    """Read a spool number from a record whose name holds :data:`SPOOL_MARK`.

    Raises
    ------
    WireError
        Its file, unit or number is wrong.
    """
    match = _SPOOL.fullmatch(name)
    if match is None:
        raise WireError(
            f"{index}.n",
            name,
            "names no spool file",
            "End it in :spool: and eight hexadecimal digits in lower case.",
            index=index,
        )
    if unit != "count":
        raise WireError(
            f"{index}.u", unit, "is not the unit of a spool number", "Send count.", index=index
        )
    # A bool is an int to Python and no number to SenML.
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float)
        or not 0 <= value <= HIGHEST_NUMBER
        or value != int(value)
    ):
        raise WireError(
            f"{index}.v",
            value,
            "is no spool number",
            f"Send a whole number from 0 to {HIGHEST_NUMBER}.",
            index=index,
        )
    return Spool(match[1], match[2], int(value))
