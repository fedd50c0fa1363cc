"""What a cell of a person's spreadsheet means: masses, temperatures, days, times, sides."""

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Final

from drumkeep.domain.events import EventKind
from drumkeep.domain.logger_times import LoggerClock, NoTime, dates_either_way, day_comes_first
from drumkeep.domain.numerals import COMMA, POINT, by_mark
from drumkeep.domain.products import Side
from drumkeep.domain.quantities import (
    celsius_from_fahrenheit,
    fahrenheit,
    kilograms_from_pounds,
    kilopascals_from_psi,
    metres_from_centimetres,
    metres_from_inches,
    pounds,
)

_NUMBER: Final = re.compile(r"([-+\N{MINUS SIGN}]?[\d.,' ]*\d)\s*([^\d\s].*)?")
_EITHER_WAY: Final = re.compile(r"(\d{1,2})[-/](\d{1,2})[-/](\d{4}|\d\d)\b.*", re.ASCII)
_SERIAL: Final = re.compile(r"\d{5}(?:\.\d+)?", re.ASCII)
_SERIAL_BEGIN: Final = datetime(1899, 12, 30, tzinfo=UTC)
"""Day 0 of a spreadsheet's serial dates, after 1900-02-28 (ECMA-376 part 1, 18.17.4.1)."""
_PASTED: Final = str.maketrans(
    dict.fromkeys("\N{ZERO WIDTH SPACE}\N{ZERO WIDTH NON-JOINER}\N{ZERO WIDTH JOINER}\ufeff")
    | dict.fromkeys("\N{LEFT DOUBLE QUOTATION MARK}\N{RIGHT DOUBLE QUOTATION MARK}", '"')
    | dict.fromkeys("\N{LEFT SINGLE QUOTATION MARK}\N{RIGHT SINGLE QUOTATION MARK}", "'")
    | {"\N{MASCULINE ORDINAL INDICATOR}": "\N{DEGREE SIGN}"}
)
"""Look-alikes that word processors and web pages bring along."""
_QUOTED: Final = re.compile(r"""(["'])(.+)\1""")
_BARE_HOUR: Final = re.compile(r"(?<![:\d.])(\d{1,2})\s*([ap])\.?\s?m\.?(?![a-z])", re.IGNORECASE)
_SPANISH_DAY: Final = re.compile(
    r"(\d{1,2})(?:\s+de)?[-\s.]+([a-z]{3,10})\.?(?:\s+del?)?[-\s.,]+(\d{4}|\d\d)\b", re.IGNORECASE
)
_SPANISH_MONTHS: Final = {
    "enero": "jan",
    "febrero": "feb",
    "marzo": "mar",
    "abril": "apr",
    "mayo": "may",
    "junio": "jun",
    "julio": "jul",
    "agosto": "aug",
    "septiembre": "sep",
    "setiembre": "sep",
    "octubre": "oct",
    "noviembre": "nov",
    "diciembre": "dec",
    "ene": "jan",
    "abr": "apr",
    "ago": "aug",
    "sept": "sep",
    "set": "sep",
    "dic": "dec",
}
_SEVERAL: Final = re.compile(
    r"x\s*\d+|\d+\s*(?:x|drums?|pcs?\.?|pieces?|ea\.?|each|units?|tambor(?:es)?|piezas?|pzas?\.?)",
    re.IGNORECASE,
)
_Units = Mapping[str, Callable[[float], float]]
_MASSES: Final[_Units] = {
    **dict.fromkeys(("lb", "lbs", "lb.", "lbs.", "pound", "pounds", "#"), kilograms_from_pounds),
    **dict.fromkeys(("kg", "kgs", "kilo", "kilos"), float),
}
_TEMPERATURES: Final[_Units] = {
    **dict.fromkeys(("f", "°f", "℉", "degf", "deg f"), celsius_from_fahrenheit),
    **dict.fromkeys(("c", "°c", "℃", "degc", "deg c"), float),
}
_SIDES: Final = {
    **dict.fromkeys(("a", "iso", "a side", "isocyanate", "iso a", "a iso"), Side.ISO),
    **dict.fromkeys(("b", "resin", "b side", "poly", "resin b", "b resin"), Side.RESIN),
}
_LENGTHS: Final[_Units] = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), float),
    **dict.fromkeys(("cm",), metres_from_centimetres),
    **dict.fromkeys(("in", "in.", "inch", "inches", '"'), metres_from_inches),
}
_PRESSURES: Final[_Units] = {
    "kpa": float,
    **dict.fromkeys(("psi", "psig"), kilopascals_from_psi),
}
_SPOKEN: Final[Mapping[object, tuple[str | None, str, Callable[[float], float]]]] = {
    kilograms_from_pounds: ("kg", "lb", pounds),
    celsius_from_fahrenheit: ("°C", "°F", fahrenheit),
    ("kg",): (None, "kg", float),
    ("°C",): (None, "°C", float),
}
"""How a figure in SI is said where a unit is read so."""
_BOUND: Final = re.compile(r"(at least|at most|more than|less than) (-?\d+(?:\.\d+)?)\.$")
_MINUTES: Final[_Units] = dict.fromkeys(("", "min", "min.", "mins", "minute", "minutes"), float)
_KINDS: Final = {
    **{kind.value.replace("_", " "): kind for kind in EventKind},
    **dict.fromkeys(("receive", "receipt"), EventKind.RECEIVED),
    **dict.fromkeys(("move", "moving", "transfer", "transferred"), EventKind.MOVED),
    **dict.fromkeys(("weigh", "weighing", "weight"), EventKind.WEIGHED),
    **dict.fromkeys(("top up", "topped up", "poured in"), EventKind.TOPPED),
    **dict.fromkeys(("decant", "poured out"), EventKind.DECANTED),
    **dict.fromkeys(("dip", "dipping", "dip temp", "probe", "probed"), EventKind.DIPPED),
    **dict.fromkeys(("wall", "skin temp", "skin temperature"), EventKind.SKIN),
    **dict.fromkeys(("open", "opening"), EventKind.OPENED),
    **dict.fromkeys(("reseal", "resealing", "closed", "close", "sealed"), EventKind.RESEALED),
    **dict.fromkeys(("blanket", "blanketing"), EventKind.BLANKETED),
    **dict.fromkeys(
        ("agitate", "agitation", "mixed", "mix", "stirred", "recirculated"), EventKind.AGITATED
    ),
    **dict.fromkeys(("vent", "venting"), EventKind.VENTED),
    **dict.fromkeys(("hold", "on hold"), EventKind.HELD),
    **dict.fromkeys(("release",), EventKind.RELEASED),
    **dict.fromkeys(("inspect", "inspection", "look", "looked at"), EventKind.INSPECTED),
    **dict.fromkeys(("ratio", "ratio pulsing"), EventKind.RATIO_OFF),
    **dict.fromkeys(("empty", "used up"), EventKind.EMPTIED),
    **dict.fromkeys(("dispose", "disposal", "thrown away"), EventKind.DISPOSED),
}
_YES: Final = frozenset({"yes", "y", "true", "x", "seen"})
_NO: Final = frozenset({"no", "n", "false", "none", "0"})
_RINGS: Final = {"red": "red", "single": "red", "double": "double", "no": "none", "none": "none"}
_NOON: Final = timedelta(hours=12)


class Unclear(Exception):
    """Why a cell cannot be used, with what to do about it."""

    def __init__(self, problem: str, mend: str) -> None:
        super().__init__(problem)
        self.problem = problem
        self.mend = mend


def plain(text: str) -> str:
    """Return a text without what was pasted unseen: look-alike marks, and quotes round it all."""
    text = text.translate(_PASTED).strip()
    found = _QUOTED.fullmatch(text)
    return text if found is None else found[2].strip()


def serial(text: str) -> str:
    """Read which of several drums a row is of; how many there are is no answer to that."""
    if _SEVERAL.fullmatch(text):
        raise Unclear(
            "says how many there are, and a row is one drum",
            "Give each drum a row of its own; rows may be alike.",
        )
    return text


def single(text: str) -> None:
    """Read how many drums a row is of: one."""
    if not re.fullmatch(r"1(?:[.,]0+)?\b.*|one|uno?", text, re.IGNORECASE):
        raise Unclear(
            "is not one, and a row is one drum",
            "Give each drum a row of its own; rows may be alike.",
        )


def number(text: str) -> tuple[float, str]:
    """Read a number and the unit behind it; the last of two marks is the decimal one.

    Raises
    ------
    Unclear
        It is none, or a lone mark before three digits leaves open which mark it is.
    """
    found = _NUMBER.fullmatch(text)
    if found is None:
        raise Unclear("is no number", "Write a number, or leave the cell empty.")
    worth = by_mark(found[1])
    if not worth:
        raise Unclear("is no number", "Write it like 1234.5.")
    if len(set(worth.values())) > 1 and COMMA in found[1]:
        one, other = found[1].replace(",", ""), found[1].replace(",", ".")
        raise Unclear(f"may be {one} or {other}", f"Write {one} or {other}.")
    return worth.get(POINT, worth.get(COMMA, 0.0)), (found[2] or "").strip().lower()


def mass_kg(text: str, *, unit: str) -> float | None:
    """Read a mass with its unit, of the cell or the header; None where it says ``full``."""
    if text.lower() == "full":
        return None
    if "full" in text.lower() or "gal" in text.lower() or "gal" in unit.lower():
        raise Unclear(
            "is no mass: what a volume weighs depends on the product and how warm it is",
            "Weigh it and write the mass, like 500 lb; leave it empty if the drum is full.",
        )
    return _figure(text, unit=unit, known=_MASSES, such_as="lb or kg")


def temperature_c(text: str, *, unit: str) -> float:
    """Read a temperature with its unit, of the cell or the header."""
    return _figure(text, unit=unit, known=_TEMPERATURES, such_as="°F or °C")


def _figure(text: str, *, unit: str, known: _Units, such_as: str) -> float:
    value, word = number(text)
    word = word or unit.strip().lower()
    if word not in known:
        problem = "has a unit that is not known" if word else "says no unit"
        raise Unclear(problem, f"Write {such_as} behind it, or in the header in brackets.")
    return known[word](value)


def side(text: str) -> Side:
    """Read a side as people write it: A, Iso, resin/B."""
    plain = re.sub(r"[^a-z]+", " ", text.lower()).strip()
    if plain not in _SIDES:
        raise Unclear("is no side", "Write iso (A) or resin (B).")
    return _SIDES[plain]


def in_unit_of(cell: str, sentence: str, *, unit: str) -> str:
    """Return a sentence about a cell with its figures in the unit in which that was typed.

    Parameters
    ----------
    cell, unit
        What was typed, and the unit of its header.
    sentence
        Of a fault, in SI.
    """
    try:
        word = number(cell)[1]
    except Unclear:
        word = ""
    spoken = _SPOKEN.get(_read_by(word or unit.strip().lower()))
    if spoken is None:
        return sentence
    si, us, scaled = spoken
    if si is None:
        return _BOUND.sub(rf"\1 \2 {us}.", sentence)
    sentence = _BOUND.sub(rf"\1 \2 {si}.", sentence)
    return re.sub(
        rf"(-?\d+(?:\.\d+)?) {si}(?!\w)",
        lambda found: f"{round(scaled(float(found[1])), 1):g} {us}",
        sentence,
    )


def _read_by(word: str) -> Callable[[float], float] | tuple[str]:
    tables = ((_MASSES, "kg"), (_TEMPERATURES, "°C"))
    for known, si in tables:
        if word in known:
            return (si,) if known[word] is float else known[word]
    return ("",)


def height_m(text: str, *, unit: str) -> float:
    """Read a height with its unit, of the cell or the header."""
    return _figure(text, unit=unit, known=_LENGTHS, such_as="in, cm or m")


def pressure_kpa(text: str, *, unit: str) -> float:
    """Read a pressure above the air's with its unit, of the cell or the header."""
    return _figure(text, unit=unit, known=_PRESSURES, such_as="psi or kPa")


def minutes(text: str, *, unit: str) -> float:
    """Read how many minutes something took."""
    return _figure(text, unit=unit, known=_MINUTES, such_as="min")


def event_kind(text: str) -> EventKind:
    """Read what happened to a drum, in our words or others that people use for it."""
    plain = re.sub(r"[^a-z]+", " ", text.lower()).strip()
    if plain not in _KINDS:
        kinds = ", ".join(sorted(kind.value for kind in EventKind))
        raise Unclear("is nothing that happens to a drum here", f"Write one of: {kinds}.")
    return _KINDS[plain]


def yes(text: str) -> bool:
    """Read whether something was so."""
    word = text.lower()
    if word not in _YES | _NO:
        raise Unclear("is neither yes nor no", "Write yes or no, or leave the cell empty.")
    return word in _YES


def seen(text: str) -> str:
    """Read whether something was seen."""
    return "seen" if yes(text) else "none"


def bung_ring(text: str) -> str:
    """Read which ring a bung has."""
    if text.lower() not in _RINGS:
        raise Unclear("is no ring that is known", "Write red, double or none.")
    return _RINGS[text.lower()]


def _in_english(found: re.Match[str]) -> str:
    month = _SPANISH_MONTHS.get(found[2].lower())
    return found[0] if month is None else f"{found[1]} {month} {found[3]}"


class Days:
    """Reads the dates of one column.

    Parameters
    ----------
    texts
        All of the column: one that can be read one way only decides for the others.
    day_first
        What a person said of the file.
    """

    def __init__(self, texts: Iterable[str], *, day_first: bool | None) -> None:
        self._mixed: NoTime | None = None
        self._day_first = day_first
        if day_first is None:
            try:
                self._day_first = day_comes_first(texts)
            except NoTime as error:
                self._mixed = error

    def moment(self, text: str, *, zone: tzinfo) -> datetime:
        """Read a time; a day without its hour counts as noon there."""
        text = _BARE_HOUR.sub(r"\1:00 \2m", _SPANISH_DAY.sub(_in_english, text, count=1))
        if _SERIAL.fullmatch(text):
            there = _SERIAL_BEGIN + timedelta(minutes=round(float(text) * 1440))
            text = f"{there:%Y-%m-%d %H:%M}" if "." in text else f"{there:%Y-%m-%d}"
        self._refuse_either(text)
        try:
            seconds = LoggerClock(zone, day_first=bool(self._day_first)).place(text, of="")
        except NoTime as error:
            mend = (
                "Write it like 2026-03-04 14:30, or Mar 4 2026."
                if "no time" in error.problem
                else error.mend
            )
            raise Unclear(error.problem.replace("no time", "no date"), mend) from None
        found = datetime.fromtimestamp(seconds, tz=UTC)
        return found if ":" in text else found + _NOON

    def day(self, text: str) -> date:
        """Read a date."""
        return self.moment(text, zone=UTC).date()

    def _refuse_either(self, text: str) -> None:
        found = _EITHER_WAY.fullmatch(text)
        if found is None or found[1] == found[2]:
            return
        if self._mixed is not None:
            raise Unclear(self._mixed.problem, self._mixed.mend)
        if self._day_first is None:
            one, other = dates_either_way(*found.groups())
            raise Unclear(
                f"may be {one} or {other}",
                f"Write {one} or {other}, or say whether the day comes first in this file.",
            )
