"""From a form's fields, in the person's units and local time, to an event as the API takes it."""

import math
import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from uuid import UUID
from zoneinfo import ZoneInfo

from drumkeep.domain.quantities import (
    INCH_M,
    PSI_KPA,
    celsius_from_fahrenheit,
    kilograms_from_pounds,
)
from drumkeep.domain.scans import drum_read
from drumkeep.errors import Fault, Invalid

# "61,5" is a comma for a point; "1,250" may be either, and so is neither.
_NUMBER: Final = re.compile(r"[-+]?\d{1,9}(?:[.,]\d{1,2}|\.\d{0,9})?|[-+]?\.\d{1,9}", re.ASCII)
_TIME: Final = re.compile(r"2\d{3}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d)?", re.ASCII)
_APART: Final = re.compile(r"[ \t:;]+")
_MOST_DIGITS: Final = 6
_LOOKS: Final = ("solids", "skin", "bulge", "ring")


def event_body(  # noqa: C901, PLR0912 - one arm a kind
    form: Mapping[str, str], *, us: bool, zone: str, now: datetime
) -> dict[str, Any]:
    """Return the event that a form of the drum page records.

    Parameters
    ----------
    form
        Names and texts as posted.
    us
        Whether figures are °F, lb, inches and psi instead of °C, kg, cm and kPa.
    zone
        The site's zone, in which times are written.
    now
        Used where the time was left empty.

    Raises
    ------
    Invalid
        A field does not hold a number or a time.
    """
    kind = form.get("kind", "")
    body: dict[str, Any] = {
        "id": form.get("id", ""),
        "kind": kind,
        "at": when(form, "at", zone=zone, now=now) or _text(now),
        "note": form.get("note") or None,
    }
    if kind in ("dipped", "skin"):
        body["c"] = temperature_of(form, "temperature", us=us)
        body["height_m"] = _length(form, us=us)
    elif kind == "moved":
        body["to"] = form.get("to", "")
        body["from"] = form.get("from") or None
    elif kind == "agitated":
        body["minutes"] = _number(form, "minutes")
    elif kind == "weighed":
        name = "net_kg" if form.get("weighed_as") == "net" else "gross_kg"
        body[name] = mass_of(form, "mass", us=us)
        body["resolution_kg"] = mass_of(form, "resolution", us=us)
    elif kind == "decanted":
        body["kg"] = mass_of(form, "mass", us=us)
        body["to"] = _scanned(form, "to")
    elif kind == "topped":
        body["kg"] = mass_of(form, "mass", us=us)
        body["from"] = _scanned(form, "from")
    elif kind == "ratio_off":
        body["with"] = _scanned(form, "with") or None
    elif kind == "blanketed":
        body["gas"] = form.get("gas", "")
        body["kpa"] = _pressure(form, us=us)
        body["regulator"] = form.get("regulator") == "yes"
    elif kind == "heated":
        body |= _heated(form, us=us, zone=zone)
    elif kind == "wanted":
        body |= _wanted(form, zone=zone, now=now)
    elif kind in ("held", "released"):
        body["reason"] = form.get("reason", "")
    elif kind in ("emptied", "disposed"):
        body["reason"] = form.get("reason", "").strip() or None
    elif kind == "inspected":
        body["reached_bottom"] = form.get("reached_bottom") == "yes"
        body |= {name: form[name] for name in _LOOKS if form.get(name) not in (None, "not_looked")}
    return {name: value for name, value in body.items() if value is not None}


def _scanned(form: Mapping[str, str], name: str) -> str:
    """Return a tag that was scanned or typed; an empty field stays so."""
    text = form.get(name, "").strip()
    return drum_read(text, field=name) if text else ""


def _heated(form: Mapping[str, str], *, us: bool, zone: str) -> dict[str, Any]:
    until = when(form, "until", zone=zone, now=None)
    if until is None:
        fault = Fault("until", None, "is missing", "Give the day and the time when it goes off.")
        raise Invalid("Say until when it heats.", [fault])
    return {
        "device": form.get("device", ""),
        "watts": number_of(form, "watts"),
        "until": until,
        "height_m": _length(form, us=us),
        "thermostat_c": temperature_of(form, "thermostat", us=us),
    }


def _wanted(form: Mapping[str, str], *, zone: str, now: datetime) -> dict[str, Any]:
    if form.get("withdrawn"):
        return {"at": _text(now), "withdrawn": True}
    at = when(form, "wanted_at", zone=zone, now=None)
    if at is None:
        fault = Fault("wanted_at", None, "is missing", "Give the day and the time.")
        raise Invalid("Say by when it is wanted.", [fault])
    return {"at": at, "output": form.get("output") or None}


def written_lines(text: str) -> list[str]:
    """Return the lines of a field that hold something."""
    return [line.strip() for line in text.splitlines() if line.strip()]


def points_of(form: Mapping[str, str], name: str, *, us: bool) -> list[list[float]]:
    """Return the points in a field of lines, temperature and value, as °C and value.

    Raises
    ------
    Invalid
        Some line is not two numbers; the faults name it as the API would.
    """
    points: list[list[float]] = []
    faults: list[Fault] = []
    for i, line in enumerate(written_lines(form.get(name, ""))):
        try:
            there, value = (
                number_of({"figure": figure}, "figure") for figure in _APART.split(line)
            )
        except (Invalid, ValueError):
            mend = "Write a temperature and the value there, such as 77 900."
            faults.append(Fault(f"properties.{name}.{i}", line, "is not two numbers", mend))
            continue
        points.append([celsius_from_fahrenheit(there) if us else there, value])
    if faults:
        raise Invalid("Points are a temperature and a value each.", faults)
    return points


def _text(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def when(form: Mapping[str, str], name: str, *, zone: str, now: datetime | None) -> str | None:
    """Return a time of the site's clock in UTC.

    An hour that the clock goes through twice is taken as the later one if that is past already
    (``now`` given: it tells what was done), else as the earlier one.

    Raises
    ------
    Invalid
        It is no time, or one that the clock left out.
    """
    text = form.get(name, "").strip()
    if not text:
        return None
    try:
        written = datetime.fromisoformat(text if _TIME.fullmatch(text) else "")
    except ValueError:
        mend = "Write it as 2026-01-31T05:00, in the site's local time."
        raise _no_time(name, text, "is not a time", mend) from None
    first, second = (
        written.replace(tzinfo=ZoneInfo(zone), fold=fold).astimezone(UTC) for fold in (0, 1)
    )
    if first.astimezone(ZoneInfo(zone)).replace(tzinfo=None) != written:
        mend = f"Clocks in {zone} were put forward past it: write the hour that they went on to."
        raise _no_time(name, text, "is a time that never was", mend)
    return _text(second if now is not None and second <= now else first)


def _no_time(name: str, text: str, problem: str, mend: str) -> Invalid:
    return Invalid("That is no time.", [Fault(name, text, problem, mend)])


def leaf_number(text: str) -> int:
    """Return which page of a list an address asks for, from 1; anything strange is the first."""
    return max(int(text), 1) if text.isdecimal() and len(text) < _MOST_DIGITS else 1


def _number(form: Mapping[str, str], name: str) -> float | None:
    text = form.get(name, "").strip().replace("\N{MINUS SIGN}", "-")
    if not text:
        return None
    if not _NUMBER.fullmatch(text):
        mend = "Write a number such as 61.5."
        fault = Fault(name, text, "is not a number", mend)
        raise Invalid("That is no number.", [fault])
    value = float(text.replace(",", "."))
    assert math.isfinite(value)  # noqa: S101 - at most nine digits before the point
    return value


def chosen(form: Mapping[str, str], name: str, *, mend: str) -> str:
    """Return what was chosen from a list.

    Raises
    ------
    Invalid
        Nothing was; ``mend`` says what to do.
    """
    if not form.get(name):
        raise Invalid("Something is not chosen.", [Fault(name, None, "is not chosen", mend)])
    return form[name]


def form_id(form: Mapping[str, str], name: str = "id") -> UUID:
    """Return the UUID that a form carries, so that a repeat is no second deed.

    Raises
    ------
    Invalid
        It has none.
    """
    try:
        return UUID(form.get(name, ""))
    except ValueError:
        fault = Fault(name, form.get(name), "is no UUID", "Open the page anew and fill it in.")
        raise Invalid("The form is out of date.", [fault]) from None


def waited(form: Mapping[str, str]) -> timedelta:
    """Return for how long a form waited on a phone without a connection before it was sent.

    Raises
    ------
    Invalid
        It says so in something that is no number.
    """
    return timedelta(seconds=number_of(form, "ago_s") if form.get("ago_s") else 0.0)


def number_of(form: Mapping[str, str], name: str) -> float:
    """Return the number in a field.

    Raises
    ------
    Invalid
        It is empty, or no number.
    """
    value = _number(form, name)
    if value is None:
        fault = Fault(name, None, "is missing", "Write a number such as 61.5.")
        raise Invalid("A number is missing.", [fault])
    return value


def temperature_of(form: Mapping[str, str], name: str, *, us: bool) -> float | None:
    """Return the temperature in a field, °C; None where it is empty."""
    value = _number(form, name)
    return celsius_from_fahrenheit(value) if us and value is not None else value


def _length(form: Mapping[str, str], *, us: bool) -> float | None:
    value = _number(form, "height")
    return None if value is None else value * (INCH_M if us else 0.01)


def mass_of(form: Mapping[str, str], name: str, *, us: bool) -> float | None:
    """Return the mass in a field, kg; None where it is empty."""
    value = _number(form, name)
    return kilograms_from_pounds(value) if us and value is not None else value


def _pressure(form: Mapping[str, str], *, us: bool) -> float | None:
    value = _number(form, "pressure")
    return value * PSI_KPA if us and value is not None else value
