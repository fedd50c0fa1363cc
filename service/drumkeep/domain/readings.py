"""What a reading is, and which values that arrive are none.

Values stay as the sensor gave them; calibration is applied where they are read.

The rules of time, whichever way a reading comes live (MQTT or HTTP); all in seconds since 1970 UTC,
so that summer time and zones have no part in them:

* A time from 90 days back to 10 minutes ahead of its arrival is taken, both ends included; what
  lies outside is refused, kept with its reason, and noted of its gateway (:data:`CLOCK_OFF`). It is
  never set right by guess. Older readings can be imported (``drumkeep import readings``).
* A time relative to now (RFC 8428, 4.5.3: any below 2**28 s, so also that of a clock which counts
  from being switched on) and a time left out count from the arrival, once: what the broker
  retained cannot have such a time.
* Late readings and readings out of order are stored where they belong, and what was computed since
  is computed again.
* The same sensor, time and value again is a duplicate and changes nothing. Of two values for one
  time the first stays, and the second is refused.
* A pack that is refused, in part or whole, counts as stored for its spool: it would be refused for
  ever.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, NamedTuple, Protocol, TypeGuard

from drumkeep.domain.sensors import SENT, UNITS, Quantity

PLAUSIBLE: Final = {
    Quantity.TEMPERATURE: (-60.0, 200.0),
    Quantity.HUMIDITY: (0.0, 100.0),
    Quantity.IRRADIANCE: (-20.0, 1500.0),
    Quantity.BATTERY: (0.0, 100.0),
    Quantity.VOLTAGE: (0.0, 1000.0),
    Quantity.SIGNAL: (-200.0, 30.0),
}
"""Lowest and highest value taken, inclusive, in the quantity's own unit. Common practice, no
source: what is colder or hotter than this is a broken wire or a wrong unit and no shed. The sun's
1361 W/m² outside the air are exceeded by some at the edge of a cloud; a pyranometer that looks at a
cold night sky says a little under nothing."""

OLDEST: Final = timedelta(days=90)
"""How far back a reading may be dated when it arrives; older ones are imported."""

AHEAD: Final = timedelta(minutes=10)
"""How far a gateway's clock may be ahead of ours."""

CLOCK_OFF: Final = timedelta(hours=6)
"""A gateway is told of for so long after it last sent a time that was refused."""

PREFIX_LENGTH: Final = 4096
"""Octets of a refused payload that are kept."""


class _Scale(NamedTuple):
    """What a unit says is measured, how to come to the stored unit, and what is taken in it."""

    quantity: Quantity
    factor: float
    offset: float
    low: float
    high: float


_SCALES: Final = {
    unit: _Scale(sent.quantity, sent.factor, sent.offset, *PLAUSIBLE[sent.quantity])
    for unit, sent in SENT.items()
}


class Reading(NamedTuple):
    """One value with its time.

    Attributes
    ----------
    sensor_name
        SenML name of the sensor.
    quantity
        What its unit says that it measures.
    ts_ms
        Epoch milliseconds, UTC.
    value
        As the sensor gave it, in the unit of its quantity.
    index
        Its place in the pack as sent, from 0.
    """

    sensor_name: str
    quantity: Quantity
    ts_ms: int
    value: float
    index: int = 0  # type: ignore[assignment] # in place of a method that nobody asks for


@dataclass(frozen=True, slots=True)
class Rejection:
    """Why a record or a whole pack was not stored; it is kept with this reason.

    Attributes
    ----------
    index
        Place of the record in the pack as sent, from 0; None for the pack as a whole.
    field
        The SenML label, ``topic``, or empty for the pack as a whole.
    value
        What was found there.
    problem
        What is wrong with it, as a clause.
    mend
        What to send instead, as a sentence.
    ahead_s
        Of a refused time: how far it is ahead of its arrival, negative when back.
    """

    index: int | None
    field: str
    value: object
    problem: str
    mend: str
    ahead_s: float | None = None


@dataclass(frozen=True, slots=True)
class GatewayKey:
    """A gateway as a topic names it: by the codes of its site and itself."""

    site: str
    code: str


class SpoolNumber(NamedTuple):
    """Which pack of which spool file of a gateway this is."""

    urn: str
    file: str
    number: int


class ArrivedPack(NamedTuple):
    """A pack as it came, read as far as it can be.

    Attributes
    ----------
    source
        Where it came from: an MQTT topic, or ``http``.
    gateway
        Whom its topic names; None over HTTP, where no gateway speaks, and for a wrong topic.
    readings
        What can be stored.
    rejections
        What cannot, and why; one of the pack as a whole when it could not be read at all.
    spool
        Its spool number, if it carries one.
    prefix
        Its first octets, at most :data:`PREFIX_LENGTH`.
    size
        Its length in octets.
    repeats
        Whether its rejections are known again by source and reason alone, as of a device whose
        payload never comes twice.
    """

    source: str
    gateway: GatewayKey | None
    readings: tuple[Reading, ...]
    rejections: tuple[Rejection, ...]
    spool: SpoolNumber | None
    prefix: bytes
    size: int
    repeats: bool = False

    def digest(self, *, source_alone: bool = False) -> str:
        """Name the same payload from the same source again by 32 hexadecimal digits.

        Parameters
        ----------
        source_alone
            Whether any other payload of the source is to have this name as well.
        """
        source = self.source.encode(errors="replace")
        told = (
            source
            if self.repeats or source_alone
            else b"\0".join([source, b"%d" % self.size, self.prefix])
        )
        return hashlib.blake2b(told, digest_size=16).hexdigest()


class Record(Protocol):
    """A resolved SenML record; the wire's, which the domain does not know."""

    @property
    def name(self) -> str:
        """SenML name."""

    @property
    def unit(self) -> str | None:
        """SenML unit."""

    @property
    def value(self) -> object:
        """Number, text, boolean, octets or None."""

    @property
    def time(self) -> float:
        """Epoch seconds."""

    @property
    def index(self) -> int:
        """Place in the pack as sent."""


def sift(
    records: Iterable[Record], *, now: datetime, reach: timedelta = OLDEST
) -> tuple[tuple[Reading, ...], tuple[Rejection, ...]]:
    """Part records that are readings from those that are not.

    Parameters
    ----------
    records
        In the order in which they are to be stored.
    now
        When the pack arrived.
    reach
        How far back they may be dated.

    Returns
    -------
    tuple[tuple[Reading, ...], tuple[Rejection, ...]]
        What can be stored if its sensor is known, and why the rest cannot.
    """
    at_s = now.timestamp()
    newest_s, oldest_s = at_s + AHEAD.total_seconds(), at_s - reach.total_seconds()
    readings: list[Reading] = []
    rejections: list[Rejection] = []
    for record in records:
        value, time = record.value, record.time
        scale = _SCALES.get(record.unit or "")
        if scale is not None and (isinstance(value, float) or _is_number(value)):
            quantity, factor, offset, low, high = scale
            stored = value * factor + offset
            if low <= stored <= high and oldest_s <= time <= newest_s:
                ts_ms = round(time * 1000)
                readings.append(Reading(record.name, quantity, ts_ms, stored, record.index))
                continue
        rejections.append(_refusal(record, now=now))
    return tuple(readings), tuple(rejections)


def plausible(value: float, unit: str) -> bool:
    """Whether a value in a unit of SenML lies within what is taken of its quantity."""
    scale = _SCALES[unit]
    return scale.low <= value * scale.factor + scale.offset <= scale.high


def _is_number(value: object) -> TypeGuard[float]:
    # A bool is an int to Python and no number to SenML.
    return isinstance(value, float) or (isinstance(value, int) and not isinstance(value, bool))


def _refusal(record: Record, *, now: datetime) -> Rejection:
    """Say why a record is no reading."""
    value = record.value
    scale = _SCALES.get(record.unit or "")
    if not _is_number(value):
        return Rejection(
            record.index,
            "v",
            value,
            "is no number",
            "Send the value of a sensor as a number in v.",
        )
    if scale is None:
        return Rejection(
            record.index,
            "u",
            record.unit,
            "is not a unit that is stored",
            f"Send one of {', '.join(SENT)} (SenML, RFC 8428 and 8798).",
        )
    if not scale.low <= value * scale.factor + scale.offset <= scale.high:
        bounds = f"{scale.low:g} to {scale.high:g} {UNITS[scale.quantity]}"
        return Rejection(
            record.index,
            "v",
            value,
            "is no plausible value",
            f"Check the sensor; {bounds} are taken.",
        )
    return _wrong_time(record, now=now)


def _wrong_time(record: Record, *, now: datetime) -> Rejection:
    ahead_s = record.time - now.timestamp()
    if ahead_s > 0:
        problem = f"is more than {AHEAD.total_seconds() / 60:g} minutes ahead"
        mend = "Set the gateway's clock, and send seconds since 1970 UTC."
    else:
        problem = f"is more than {OLDEST.days} days back"
        mend = "Set the gateway's clock; older readings can be imported."
    return Rejection(record.index, "t", record.time, problem, mend, ahead_s)
