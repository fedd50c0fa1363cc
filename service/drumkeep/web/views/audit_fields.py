"""Fields of what was done as the audit's page tells them: in people's words, units and clock."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any, Final

from drumkeep.domain.quantities import INCH_M, PSI_KPA, fahrenheit, pounds
from drumkeep.web.formats import Formats
from drumkeep.web.moments import SPACE
from drumkeep.web.views.audit_names import Names, name_of
from drumkeep.web.wording import (
    ALARM_STATE,
    CROWDING,
    MOTION,
    PLACE_KIND,
    ROLE,
    SIDE,
    STANDING,
    output_words,
)

NOUNS: Final[Mapping[str, str]] = {
    "account": "account",
    "airforecast": "forecast of the air",
    "alarm": "alarm",
    "alarm_entry": "line of an alarm",
    "claim": "claim",
    "consumable": "supply",
    "consumable_entry": "entry of a supply",
    "delivery": "delivery",
    "delivery_drum": "drum of a delivery",
    "drum": "drum",
    "drum_event": "event of a drum",
    "gateway": "gateway",
    "label_print": "print of a label",
    "lot": "lot",
    "mount": "hanging of a sensor",
    "phone_pass": "phone code",
    "photo": "photo",
    "place": "place",
    "place_film": "air film of a place",
    "price": "price",
    "product": "product",
    "pull": "pull list",
    "pull_drum": "drum of a pull list",
    "rig_check": "rig check",
    "sensor": "sensor",
    "session": "session",
    "side_check": "check of two drums",
    "site": "site",
    "stock_count": "count",
    "token": "token",
    "trade_item": "trade item number",
}
"""What the things of each table are called."""

VERBS: Final[Mapping[str, str]] = {
    "changed": "changed",
    "made": "made",
    "removed": "removed",
}
"""What was done to one where nothing tells more."""

_NAMES: Final[Mapping[str, str]] = {
    "altitude_m": "altitude",
    "amount": "price",
    "at": "at",
    "blanket_r_m2k_w": "thermal resistance of the blanket, m²K/W",
    "by": "by",
    "c": "temperature",
    "capacity": "room for drums",
    "code": "code",
    "copy_number": "copy",
    "crowding": "how drums stand",
    "data": "what was told",
    "deed": "what was done",
    "device": "device",
    "display_name": "name of the person",
    "error_k": "error of the sensor",
    "expires_at": "ends",
    "expires_on": "good until",
    "from": "from",
    "gas": "gas",
    "gross_kg": "gross mass",
    "gtin": "trade item number (GTIN)",
    "height_m": "height above the bottom",
    "in_hand": "in hand",
    "inside": "stands in",
    "interval_s": "time between readings",
    "kg": "mass",
    "kind": "kind",
    "kpa": "pressure",
    "language": "language",
    "liquid_c": "temperature of the liquid",
    "lot": "lot",
    "made_on": "made on",
    "minimum": "minimum",
    "minutes": "for how long",
    "motion": "motion of the air",
    "net_kg": "net mass",
    "note": "note",
    "output": "output",
    "output_class": "output",
    "password_hash": "password",
    "place": "place",
    "pour": "number of the pour",
    "pressure_kpa": "pressure",
    "product": "product",
    "quantity": "how much",
    "reached_bottom": "bottom reached",
    "reason": "why",
    "received_at": "received at",
    "recorded_at": "recorded at",
    "regulator": "through a regulator",
    "resolution_kg": "the scale reads to",
    "ring": "ring at the bung",
    "role": "role",
    "sensor": "sensor",
    "set_point_c": "set point",
    "share": "share of the drum",
    "side": "side",
    "sigma_k": "uncertainty",
    "site": "site",
    "skin": "skin on the liquid",
    "solids": "solids",
    "standing": "stands on",
    "state": "state",
    "sun": "in the sun",
    "system": "system",
    "tag": "tag",
    "tare_kg": "mass of the empty drum",
    "temporary": "temporary",
    "thermostat_c": "thermostat",
    "timezone": "time zone",
    "to": "to",
    "un_mark": "UN mark",
    "units": "units",
    "until": "until",
    "user_agent": "device",
    "wanted_at": "ready by",
    "wanted_output": "ready for",
    "watts": "power",
    "what": "what",
    "wind_m_s": "wind",
}
"""What a field is called; any other is called as it is kept, without its unit."""

_CHOICES: Final[Mapping[str, Mapping[str, str]]] = {
    "crowding": CROWDING,
    "kind": PLACE_KIND,
    "motion": MOTION,
    "role": ROLE,
    "side": SIDE,
    "standing": STANDING,
    "state": ALARM_STATE,
}
"""Fields of which one of some values is chosen."""

_OUTPUTS: Final = frozenset({"output", "output_class", "wanted_output"})
"""Fields that hold an output class."""

_UNITS: Final = frozenset({"c", "k", "kg", "m", "s"})
"""What names of fields end in."""

_FOOT_M: Final = 12.0 * INCH_M
_MPH_M_S: Final = 5280.0 * _FOOT_M / 3600.0


def field_name(kept: str, formats: Formats) -> str:
    """Return what a field is called that is kept as ``liquid_c`` or ``limits.gassing_c``."""
    whole, _, last = kept.rpartition(".")
    name = _NAMES.get(last)
    if name is None:
        stem, _, unit = last.rpartition("_")
        name = (stem if stem and unit in _UNITS else last).replace("_", " ")
    words = formats.words(name)
    return f"{formats.words(whole.replace('_', ' '))}, {words}" if whole else words


def field_value(
    kept: str,
    value: Any,  # noqa: ANN401 - as JSON has it
    formats: Formats,
    *,
    names: Names,
) -> str:
    """Return the value of a field in the person's units, clock and language; empty: none."""
    last = kept.rpartition(".")[2]
    if value is None:
        return ""
    if isinstance(value, bool):
        return formats.words("yes" if value else "no")
    if isinstance(value, int | float):
        return _measure(last, value, formats)
    text = str(value)
    at = _moment(text)
    if at is not None:
        return formats.exact(at)
    if last in _OUTPUTS:
        return output_words(text, formats)
    chosen = _CHOICES.get(last, {}).get(text)
    return formats.words(chosen) if chosen else name_of(names, last, text) or text


def _measure(  # noqa: C901, PLR0911 - one arm a unit
    name: str, value: float, formats: Formats
) -> str:
    """Write a number as finely as it was told: 15 °C is 59 °F, 250 kg is 551.2 lb."""
    us = formats.units == "us"
    match name, name.rpartition("_")[2]:
        case "minutes", _:
            return formats.duration(timedelta(minutes=value)) or "0"
        case "watts", _:
            return f"{value:g}{SPACE}W"
        case "wind_m_s", _:
            return _figure(value / _MPH_M_S if us else value, formats.speed_unit)
        case "altitude_m", _:
            return _figure(value / _FOOT_M, "ft") if us else _figure(value, "m")
        case _, "c":
            return _figure(fahrenheit(value) if us else value, formats.temp_unit)
        case _, "k":
            return _figure(value * 1.8 if us else value, formats.temp_unit)
        case _, "kg":
            return _figure(pounds(value) if us else value, formats.mass_unit)
        case "pressure_kpa" | "kpa", _:
            return _figure(value / PSI_KPA if us else value, formats.pressure_unit)
        case _, "m":
            return _figure(value / INCH_M if us else value * 100.0, formats.length_unit)
        case _, "s":
            return _figure(value, "s")
    return f"{value:.10g}"


def _figure(value: float, unit: str) -> str:
    return f"{round(value, 1):.10g}{SPACE}{unit}"


def _moment(text: str) -> datetime | None:
    """Read a point in time; a day alone is none."""
    try:
        at = datetime.fromisoformat(text) if "T" in text else None
    except ValueError:
        return None
    return at if at is not None and at.tzinfo is not None else None
