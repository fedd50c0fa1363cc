"""What is wrong with an event that came by a form, in the form's own words, units and clock."""

import math
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from fastapi.exceptions import RequestValidationError

from drumkeep.asgi.faults import validation_faults
from drumkeep.domain.quantities import INCH_M, PSI_KPA, fahrenheit, pounds
from drumkeep.errors import DrumkeepError, Fault, Invalid
from drumkeep.language.tongue import ENGLISH, Tongue
from drumkeep.web.formats import Formats
from drumkeep.web.wording import ACTION

# From the API's name of a field to the form's name and the label that stands above it.
_FIELDS: Final[Mapping[str, tuple[str, str]]] = {
    "kind": ("kind", "What you did"),
    "c": ("temperature", "Temperature"),
    "height_m": ("height", "Height above the bottom"),
    "minutes": ("minutes", "For how long"),
    "gross_kg": ("mass", "Weight"),
    "net_kg": ("mass", "Weight"),
    "resolution_kg": ("resolution", "The scale reads to"),
    "kg": ("mass", "How much"),
    "gas": ("gas", "Gas"),
    "device": ("device", "Heater"),
    "watts": ("watts", "Its power"),
    "until": ("until", "Until"),
    "thermostat_c": ("thermostat", "Its thermostat"),
    "kpa": ("pressure", "Its pressure"),
    "to": ("to", "To"),
    "solids": ("solids", "Solids"),
    "skin": ("skin", "Skin on the liquid"),
    "bulge": ("bulge", "Bulge"),
    "ring": ("ring", "Ring at the bung"),
    "reason": ("reason", "Why"),
    "output": ("output", "For"),
    "note": ("note", "Note"),
    "at": ("at", "When"),
    "wanted_at": ("wanted_at", "Ready by"),
    "from": ("from", "From"),
    "with": ("with", "The other drum"),
    "drum": ("drum", "Drum"),
    "sure": ("sure", "Be sure"),
}
LABELS: Final[Mapping[str, str]] = dict(_FIELDS.values())
"""What stands above each field of a form, by the field's name."""

_UNIT_OF: Final[Mapping[str, str]] = {
    "c": "°C",
    "height_m": "m",
    "gross_kg": "kg",
    "net_kg": "kg",
    "kg": "kg",
    "resolution_kg": "kg",
    "kpa": "kPa",
    "thermostat_c": "°C",
    "watts": "W",
    "minutes": "min",
}

_FIGURE: Final = re.compile(r"(-?\d+(?:\.\d+)?) (kg|m|kPa|°C)(?![\w/])")
_BOUND: Final = re.compile(r"(at least|at most|more than|less than) (-?\d+(?:\.\d+)?)\.$")
_TIME: Final = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d+)?)?(?:Z|\+00:00)")


def in_words_of_form(
    error: DrumkeepError | RequestValidationError, form: Mapping[str, str], *, formats: Formats
) -> DrumkeepError:
    """Return the same error with its faults told as the person wrote the form.

    Parameters
    ----------
    error
        What checking or recording the event raised, in the API's names and SI.
    form
        Names and texts as posted.
    formats
        The units in which the form was filled in, and the site's zone.
    """
    told = _Told(form, formats)
    if isinstance(error, RequestValidationError):
        faults = [told.fault(fault) for fault in validation_faults(error)]
        return Invalid("That cannot be recorded as it is.", faults)
    return type(error)(error.title, [told.fault(fault) for fault in error.faults])


def about_it(fault: Fault, tongue: Tongue) -> str:
    """Say what is wrong with something that stands beside it, and the mend."""
    problem, mend = tongue.say(fault.problem), tongue.say(fault.mend)
    # Spanish, the one other language, leaves "it" out.
    return f"It {problem}. {mend}" if tongue.code == ENGLISH else f"{problem}. {mend}"


@contextmanager
def labelled(labels: Mapping[str, str]) -> Iterator[None]:
    """Have faults name their fields by the labels that stand above them on the page."""
    try:
        yield
    except Invalid as error:
        error.faults = tuple(
            replace(fault, field=labels.get(fault.field, fault.field)) for fault in error.faults
        )
        raise


def in_units(text: str, *, formats: Formats) -> str:
    """Return a sentence about a form with its figures in the units in which that was filled in."""
    return _Told({}, formats).text(text, unit=None)


@dataclass(frozen=True)
class _Told:
    form: Mapping[str, str]
    formats: Formats

    def fault(self, fault: Fault) -> Fault:
        if fault.field in LABELS and fault.field not in _FIELDS:
            return replace(fault, field=LABELS[fault.field])  # found while reading the form
        name, label = _FIELDS.get(fault.field, (fault.field, fault.field))
        if fault.field == "at" and self.form.get("kind") == "wanted":
            name, label = _FIELDS["wanted_at"]
        value = self.form.get(name) or None
        if fault.field == "kind":
            value, _ = ACTION.get(value or "", (value, ""))
        unit = _UNIT_OF.get(fault.field)
        if value is not None and unit is not None:
            value = f"{value} {self._unit(unit)}"
        return Fault(
            label, value, self.text(fault.problem, unit=unit), self.text(fault.mend, unit=unit)
        )

    def text(self, text: str, *, unit: str | None) -> str:
        """Return a sentence in the person's units and clock."""
        # Rounded to the safe side, so that whoever follows the mend is not refused again.
        tenth = math.ceil if "at least" in text or "more than" in text else math.floor
        if unit is not None:
            text = _BOUND.sub(lambda m: f"{m[1]} {self._figure(float(m[2]), unit, tenth)}.", text)
        text = _FIGURE.sub(lambda m: self._figure(float(m[1]), m[2], tenth), text)
        if "Write it as" not in text:  # which shows how, and no moment of this drum
            text = _TIME.sub(lambda m: self._time(m[0]), text)
        return text.replace("gross_kg and net_kg", "the two weights").replace(
            "net_kg", "the liquid alone"
        )

    def _time(self, text: str) -> str:
        return self.formats.when(datetime.fromisoformat(text))

    def _unit(self, si: str) -> str:
        if self.formats.units == "us":
            return {"°C": "°F", "kg": "lb", "m": "in", "kPa": "psi"}.get(si, si)
        return {"m": "cm"}.get(si, si)

    def _figure(self, value: float, si: str, tenth: Callable[[float], int]) -> str:
        us = self.formats.units == "us"
        scales: dict[str, Callable[[float], float]] = {
            "°C": fahrenheit if us else float,
            "kg": pounds if us else float,
            "m": (lambda m: m / INCH_M) if us else (lambda m: m * 100.0),
            "kPa": (lambda kpa: kpa / PSI_KPA) if us else float,
        }
        scaled = scales.get(si, float)(value)
        return f"{tenth(round(scaled * 10.0, 6)) / 10.0:g} {self._unit(si)}"
