"""Messages of devices that do not speak SenML: what readings are in them, by JMESPath.

An expression is searched in ``{"topic": [levels], "message": the message, "item": one of its
items}``. So ``item.temp`` is a member, ``topic[1]`` the second level of the topic, ``'F'`` a text
as it stands, and ``join(':', ['urn:dev:os:32473-shed', topic[1]])`` puts them together.
"""

import json
import math
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, NoReturn

import jmespath
from jmespath.exceptions import JMESPathError

from drumkeep.domain.checks import Checks
from drumkeep.domain.readings import Reading, Rejection, sift
from drumkeep.domain.sensors import name_fault
from drumkeep.domain.unit_words import as_sent, unit_meant
from drumkeep.errors import Fault
from drumkeep.operations.bounded_search import BoundedSearch, TooMuchWork
from drumkeep.operations.sparkplug_wire import NAMESPACE

LONGEST: Final = 400
"""Characters of a topic filter or an expression."""

_MILLISECONDS_FROM: Final = 1e11
"""A greater number is no second that anybody means (year 5138), and so a millisecond."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignMap:
    """Where the readings are in the messages of some topics.

    Attributes
    ----------
    topic
        MQTT filter; ``+`` and ``#`` stand for levels.
    items
        Searched in the message alone: a list, or one item.
    name, value, unit, time
        Searched per item; without ``time`` it is when the message came.
    """

    topic: str
    name: str
    value: str
    unit: str
    items: str = "@"
    time: str | None = None


@dataclass(frozen=True, slots=True)
class ForeignRecord:
    """One reading as it was found, in a unit that is stored."""

    name: str
    unit: str | None
    value: object
    time: float
    index: int


@dataclass(frozen=True, slots=True)
class ForeignReadings:
    """What is in one message; ``timed`` is whether it says when."""

    readings: tuple[Reading, ...]
    rejections: tuple[Rejection, ...]
    timed: bool


class _NoReading(Exception):
    """Why there is no reading in an item."""

    def __init__(self, field: str, value: object, problem: str, mend: str) -> None:
        super().__init__(problem)
        self.reason = (field, value, problem, mend)


def matches(topic_filter: str, topic: str) -> bool:
    """Whether a topic is one of those that a filter names (MQTT 5.0, 4.7.1)."""
    wanted, levels = topic_filter.split("/"), topic.split("/")
    if topic.startswith("$") and wanted[0] in {"+", "#"}:
        return False
    for place, level in enumerate(wanted):
        if level == "#":
            return True
        if place >= len(levels) or level not in {"+", levels[place]}:
            return False
    return len(wanted) == len(levels)


def read_message(
    mapping: ForeignMap, *, topic: str, payload: bytes, now: datetime
) -> ForeignReadings:
    """Find the readings in a message; what is none is told with its reason.

    Parameters
    ----------
    mapping
        Where they are.
    topic, payload
        The message.
    now
        When it came.
    """
    records: list[ForeignRecord] = []
    rejections: list[Rejection] = []
    try:
        message = _parsed(payload)
        searching = BoundedSearch(len(payload))
        found = _search(searching, "items", mapping.items, message)
    except _NoReading as none:
        return ForeignReadings((), (Rejection(None, *none.reason),), timed=False)
    items = found if isinstance(found, list) else [found]
    for index, item in enumerate(items):
        context = {"topic": topic.split("/"), "message": message, "item": item}
        try:
            records.append(_record(searching, mapping, context, index=index, now=now))
        except _NoReading as none:
            rejections.append(Rejection(index, *none.reason))
    readings, implausible = sift(records, now=now)
    return ForeignReadings(readings, (*rejections, *implausible), timed=mapping.time is not None)


def check_map(mapping: ForeignMap, *, root: str) -> None:
    """Refuse a mapping that cannot work.

    Parameters
    ----------
    mapping
        As it is to be.
    root
        What the topics of gateways begin with: those are read as SenML.

    Raises
    ------
    Invalid
        With every fault.
    """
    checks = Checks()
    _check_topic(checks, mapping.topic, root=root)
    for field in ("items", "name", "value", "unit", "time"):
        text = getattr(mapping, field)
        if text is None:
            continue
        if len(text) > LONGEST:
            checks.add(field, text, "is too long", f"Write at most {LONGEST} characters.")
            continue
        try:
            jmespath.compile(text)
        except JMESPathError as error:
            problem = str(error).splitlines()[0].rstrip(".:")
            checks.add(
                field,
                text,
                f"is no JMESPath expression ({problem})",
                "Write one such as item.temperature, or 'F' in single quotes for a text.",
            )
    checks.raise_faults("The mapping cannot be used.")


def _check_topic(checks: Checks, text: str, *, root: str) -> None:
    levels = text.split("/")
    misplaced = any(
        ("#" in level and (level != "#" or place != len(levels) - 1))
        or ("+" in level and level != "+")
        for place, level in enumerate(levels)
    )
    if not text or len(text) > LONGEST or misplaced or not text.isprintable():
        checks.add(
            "topic",
            text,
            "is no filter of topics",
            "Write levels with / between; + stands for one level, # at the end for all further.",
        )
    elif levels[0] in {"+", "#", "", root.split("/", maxsplit=1)[0], NAMESPACE} or (
        levels[0].startswith("$")
    ):
        checks.add(
            "topic",
            text,
            "would take in topics that are read in another way",
            f"Begin with a level of the devices' own, such as sensors/+; not with {levels[0]!r}.",
        )


def _parsed(payload: bytes) -> object:
    try:
        return json.loads(payload, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise _NoReading(
            "", None, f"is no JSON ({type(error).__name__})", "Map only topics that carry JSON."
        ) from None


def _no_constant(text: str) -> NoReturn:
    raise ValueError(f"{text} is no JSON")


def _record(
    searching: BoundedSearch,
    mapping: ForeignMap,
    context: dict[str, Any],
    *,
    index: int,
    now: datetime,
) -> ForeignRecord:
    name = _search(searching, "name", mapping.name, context)
    fault = name_fault(name) if isinstance(name, str) else Fault("", name, "is no text", "")
    if fault is not None:
        mend = fault.mend or "Have the expression find a text; join() makes one of several."
        raise _NoReading("name", name, fault.problem, mend)
    value = _number("value", _search(searching, "value", mapping.value, context))
    word = _search(searching, "unit", mapping.unit, context)
    unit = unit_meant(word)
    if unit is None:
        mend = "Have it find C, F or K, %RH, or W/m2; write one in single quotes if none is sent."
        raise _NoReading("unit", word, "is not a unit that is known", mend)
    value, unit = as_sent(value, unit)
    time = now.timestamp()
    if mapping.time is not None:
        time = _time(_search(searching, "time", mapping.time, context))
    assert isinstance(name, str)  # noqa: S101 - looked at above
    return ForeignRecord(name, unit, value, time, index)


def _search(searching: BoundedSearch, field: str, expression: str, within: object) -> object:
    with _told(field, expression):
        return searching.search(expression, within)


@contextmanager
def _told(field: str, expression: str) -> Iterator[None]:
    try:
        yield
    except TooMuchWork:
        mend = "Write a simpler expression, or have the device send less at a time."
        raise _NoReading(field, expression, "asks for too much work", mend) from None
    # The library lets errors of Python through where a function meets what it does not expect.
    except (JMESPathError, ArithmeticError, LookupError, TypeError, ValueError, RecursionError):
        raise _NoReading(
            field, expression, "does not fit this message", "Try it with this message on the page."
        ) from None


def _number(field: str, found: object) -> float:
    if isinstance(found, str):
        with suppress(ValueError):
            found = float(found)
    if isinstance(found, bool) or not isinstance(found, int | float):
        raise _NoReading(field, found, "is no number", "Have the expression find a number.")
    try:
        number = float(found)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise _NoReading(field, None, "is no finite number", "Check the device.")
    return number


def _time(found: object) -> float:
    if isinstance(found, str):
        try:
            moment = datetime.fromisoformat(found)
        except ValueError:
            moment = None
        if moment is not None and moment.tzinfo is None:
            mend = "Have the device send it with its offset or Z, or leave the time out."
            raise _NoReading("time", found, "names no zone", mend)
        if moment is not None:
            return moment.timestamp()
    seconds = _number("time", found)
    return seconds / 1000 if abs(seconds) >= _MILLISECONDS_FROM else seconds
