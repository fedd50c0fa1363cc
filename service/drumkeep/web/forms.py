"""From a form's fields, in the person's units and local time, to an event as the API takes it."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from drumkeep.domain.quantities import celsius_from_fahrenheit, kilograms_from_pounds
from drumkeep.errors import Fault, Invalid

_INCH_M: Final = 0.0254
_LONGEST: Final = 40


def event_body(form: Mapping[str, str], *, us: bool, zone: str, now: datetime) -> dict[str, Any]:
    """Return the event that a form of the drum page records.

    Parameters
    ----------
    form
        Names and texts as posted.
    us
        Whether figures are °F, lb and inches instead of °C, kg and cm.
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
        "at": _when(form, "at", zone=zone) or _text(now),
        "note": form.get("note") or None,
    }
    if kind in ("dipped", "skin"):
        body["c"] = _temperature(form, us=us)
        body["height_m"] = _length(form, us=us)
    elif kind == "moved":
        body["to"] = form.get("to", "")
    elif kind == "agitated":
        body["minutes"] = _number(form, "minutes")
    elif kind == "weighed":
        name = "net_kg" if form.get("weighed_as") == "net" else "gross_kg"
        body[name] = _mass(form, "mass", us=us)
        body["resolution_kg"] = _mass(form, "resolution", us=us)
    elif kind == "wanted":
        body["at"] = _when(form, "wanted_at", zone=zone) or ""
        body["output"] = form.get("output") or None
    elif kind in ("held", "released"):
        body["reason"] = form.get("reason", "")
    elif kind == "inspected":
        body["reached_bottom"] = form.get("reached_bottom") == "yes"
        for name in ("solids", "skin", "bulge", "ring"):
            if form.get(name) not in (None, "", "not_looked"):
                body[name] = form[name]
    return {name: value for name, value in body.items() if value is not None}


def _text(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _when(form: Mapping[str, str], name: str, *, zone: str) -> str | None:
    text = form.get(name, "").strip()
    if not text:
        return None
    try:
        local = datetime.fromisoformat(text[:_LONGEST])
    except ValueError:
        raise Invalid(
            "That is no time.",
            [Fault(name, text[:_LONGEST], "is not a time", "Write it as 2026-01-31T05:00.")],
        ) from None
    return _text(local.replace(tzinfo=local.tzinfo or ZoneInfo(zone)))


def _number(form: Mapping[str, str], name: str) -> float | None:
    text = form.get(name, "").strip().replace(",", ".").replace("\N{MINUS SIGN}", "-")
    if not text:
        return None
    try:
        return float(text[:_LONGEST])
    except ValueError:
        raise Invalid(
            "That is no number.",
            [Fault(name, text[:_LONGEST], "is not a number", "Write a number such as 61.5.")],
        ) from None


def _temperature(form: Mapping[str, str], *, us: bool) -> float | None:
    value = _number(form, "temperature")
    return celsius_from_fahrenheit(value) if us and value is not None else value


def _length(form: Mapping[str, str], *, us: bool) -> float | None:
    value = _number(form, "height")
    return None if value is None else value * (_INCH_M if us else 0.01)


def _mass(form: Mapping[str, str], name: str, *, us: bool) -> float | None:
    value = _number(form, name)
    return kilograms_from_pounds(value) if us and value is not None else value
