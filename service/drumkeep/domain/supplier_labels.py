"""What a supplier's label says: GS1 element strings, as scanners and people give them.

GS1 General Specifications: application identifiers (section 3), FNC1 between elements of variable
length (7.8), symbology identifiers (5.1.3). A scanner that poses as a keyboard often loses FNC1 or
writes something else for it; what then can be read in two ways is told and not guessed.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from biip import ParseError
from biip.gs1_digital_link_uris import GS1DigitalLinkURI
from biip.gs1_element_strings import GS1ElementString
from biip.gs1_messages import GS1Message
from biip.gtin import Gtin

from drumkeep.domain.quantities import celsius_from_fahrenheit, kilograms_from_pounds
from drumkeep.errors import Fault, Invalid

LONGEST: Final = 400
"""Characters of a scan; a symbol of GS1 holds fewer."""

_GS: Final = "\x1d"
# What keyboards make of FNC1; none of these is in the set of characters that elements may have.
_SEPARATED: Final = re.compile(r"\x1d|\^\]|<GS>|\{GS\}|\[GS\]|\\x1[dD]|[␝|~^\s]")
_SYMBOLOGY: Final = re.compile(r"\](?P<kind>[A-Za-z][0-9A-Za-z])")
_GS1_SYMBOLS: Final = frozenset({"C1", "d2", "Q3", "J1", "e0", "e1", "e2"})
_PLAIN_SYMBOLS: Final = frozenset({"E0", "E4", "C0", "d1", "Q1", "I1"})
"""GS1-128, DataMatrix, QR, DotCode and DataBar; EAN and others without FNC1."""
_BRACKETED: Final = re.compile(r"\((?P<ai>\d{2,4})\)(?P<value>.*?)(?=\(\d{2,4}\)|$)")
_GTIN_LENGTHS: Final = frozenset({8, 12, 13, 14})
_GTIN_DIGITS: Final = 14
_LONGEST_LOT: Final = 20
_SPLIT: Final = re.compile(r"(?=(?:1[0-7]|21|37|3[12]0[0-5]|433[0-3]))")

_SCAN: Final = "Scan it again, or type what is printed under the bars with its brackets."
_TITLE: Final = "The label cannot be used."

_NAMES: Final[Mapping[str, str]] = {
    "00": "sscc",
    "01": "gtin",
    "02": "gtin",
    "10": "lot",
    "11": "made_on",
    "15": "best_before",
    "17": "expires_on",
    "21": "serial",
    "37": "count",
    "4330": "highest_c",
    "4331": "highest_c",
    "4332": "lowest_c",
    "4333": "lowest_c",
}
_NAMES_BY_THREE: Final[Mapping[str, str]] = {"310": "net_kg", "320": "net_kg"}


@dataclass(frozen=True, slots=True)
class SupplierLabel:
    """What a supplier's label says; what it does not say is None.

    ``gtin`` has 14 digits. ``count`` is of drums on a pallet. ``lowest_c`` and ``highest_c`` are
    between what it is to be kept. ``lots`` are what the lot may be where the scan can be read in
    several ways; then ``lot`` and ``serial`` are None.
    """

    gtin: str | None = None
    lot: str | None = None
    made_on: date | None = None
    expires_on: date | None = None
    best_before: date | None = None
    net_kg: float | None = None
    serial: str | None = None
    sscc: str | None = None
    count: int | None = None
    lowest_c: float | None = None
    highest_c: float | None = None
    lots: tuple[str, ...] = ()

    @property
    def last_day(self) -> date | None:
        """The earlier of what it calls its expiry and its best-before date."""
        return min((day for day in (self.expires_on, self.best_before) if day), default=None)


def read_label(text: str, *, field: str = "label") -> SupplierLabel:
    """Return what a scan says, or what somebody typed from under the bars.

    Raises
    ------
    Invalid
        It is no GS1 data, a check digit or a date is wrong, or it says one thing in two ways.
    """
    scanned = text.strip(" \r\n")
    if not scanned or len(scanned) > LONGEST:
        problem = "is empty" if not scanned else f"has {len(scanned)} characters"
        raise _refusal(field, text[:LONGEST], problem, _SCAN)
    if re.search(r"/d/[A-Za-z2-9-]{6,7}$", scanned):
        mend = "To receive a drum, scan the label that its supplier put on."
        raise _refusal(field, scanned, "is one of our own labels, of a drum that is here", mend)
    elements = _elements(scanned, field=field)
    said: dict[str, object] = {}
    for element in elements:
        name = _NAMES.get(element.ai.ai) or _NAMES_BY_THREE.get(element.ai.ai[:3])
        if name is None:
            continue
        value = _value(element, field=field)
        if name in said and said[name] != value:
            problem = f"says two things of ({element.ai.ai}): {said[name]} and {value}"
            raise _refusal(field, scanned, problem, "Read the print and type what holds.")
        said[name] = value
    lots = _other_lots(scanned, elements)
    if lots:
        said |= {"lot": None, "serial": None, "lots": lots}
    return SupplierLabel(**said)  # type: ignore[arg-type]  # by the names above


def _elements(scanned: str, *, field: str) -> Sequence[GS1ElementString]:
    """Return the elements of a text in whatever of its forms it came."""
    try:
        if scanned.lower().startswith(("http://", "https://")):
            return GS1DigitalLinkURI.parse(scanned).element_strings
        if scanned.startswith("("):
            return list(_bracketed(scanned))
        plain = _without_symbology(scanned, field=field)
        if (gtin := _gtin_alone(plain)) is not None:
            return [GS1ElementString.parse(f"01{gtin}")]
        message = _SEPARATED.sub(_GS, plain).strip(_GS)
        return GS1Message.parse(message).element_strings
    except ParseError as error:
        raise _refusal(field, scanned, f"is no GS1 label: {_cause(error)}", _SCAN) from None


def _without_symbology(scanned: str, *, field: str) -> str:
    prefix = _SYMBOLOGY.match(scanned)
    if prefix is None:
        return scanned
    if prefix["kind"] not in _GS1_SYMBOLS | _PLAIN_SYMBOLS:
        mend = "Scan the GS1 code beside it: GS1-128, DataMatrix or QR."
        raise _refusal(field, scanned, f"is a symbol of another kind (]{prefix['kind']})", mend)
    return scanned[prefix.end() :]


def _gtin_alone(text: str) -> str | None:
    """Return 14 digits if the text is nothing but a GTIN whose check digit is right."""
    if not (text.isascii() and text.isdigit() and len(text) in _GTIN_LENGTHS):
        return None
    try:
        Gtin.parse(text.zfill(_GTIN_DIGITS))
    except ParseError:
        return None
    return text.zfill(_GTIN_DIGITS)


def _bracketed(text: str) -> Iterator[GS1ElementString]:
    end = 0
    for found in _BRACKETED.finditer(text):
        if text[end : found.start()].strip():
            break
        value = _SEPARATED.sub("", found["value"])
        yield GS1ElementString.parse(f"{found['ai']}{value}")
        end = found.end()
    if text[end:].strip():
        raise ParseError(f"nothing follows from {text[end:]!r}")


def _value(element: GS1ElementString, *, field: str) -> object:
    """Return an element's value in our own units.

    Raises
    ------
    Invalid
        Its check digit is wrong, or it cannot be.
    """
    ai, value = element.ai.ai, element.value
    if element.gtin_error or element.sscc_error:
        problem = "does not add up: its check digit is wrong"
        raise _refusal(f"{field}.{_NAMES[ai]}", value, problem, _SCAN)
    if ai in {"01", "02"}:
        return value.zfill(_GTIN_DIGITS)
    if ai in {"00", "10", "21"}:
        return value
    if ai == "37":
        return int(value)
    if ai in {"11", "15", "17"}:
        assert element.date is not None  # noqa: S101 - it would not have been parsed
        # Without a day it is the month: made at its beginning, good to its end.
        return element.date.replace(day=1) if ai == "11" and value.endswith("00") else element.date
    if ai[:2] == "43":
        degrees = int(value.rstrip("-")) / 100.0 * (-1.0 if value.endswith("-") else 1.0)
        return celsius_from_fahrenheit(degrees) if ai in {"4330", "4332"} else degrees
    assert element.decimal is not None  # noqa: S101 - weights are all that is left
    weight = float(element.decimal)
    return kilograms_from_pounds(weight) if ai[:3] == "320" else weight


def _other_lots(scanned: str, elements: Sequence[GS1ElementString]) -> tuple[str, ...]:
    """Return what the lot may be, if the scan has no separators and its end could be elements too.

    A lot that runs to the end of the text may have swallowed what stood behind a lost FNC1.
    """
    if scanned.startswith(("(", "http", "HTTP")) or _SEPARATED.search(scanned):
        return ()
    order = [element.ai.ai for element in elements]
    if "10" not in order:
        return ()
    first = order.index("10")
    behind = "".join(element.ai.ai + element.value for element in elements[first + 1 :])
    tail = elements[first].value + behind
    shorter = [
        tail[: at.start()]
        for at in _SPLIT.finditer(tail)
        if 0 < at.start() <= _LONGEST_LOT and _could_be(tail[at.start() :], set(order[:first]))
    ]
    whole = (tail,) if len(tail) <= _LONGEST_LOT else ()
    return (*whole, *reversed(shorter)) if shorter else ()


def _could_be(rest: str, others: set[str]) -> bool:
    """Whether a text is elements of other kinds than those that stand before it."""
    try:
        found = {element.ai.ai for element in GS1Message.parse(rest).element_strings}
    except ParseError:
        return False
    return not others & found and "10" not in found


def _cause(error: ParseError) -> str:
    first = str(error).split(" pattern ")[0].rstrip(".")
    return f"{first[0].lower()}{first[1:]}"


def _refusal(field: str, value: str, problem: str, mend: str) -> Invalid:
    return Invalid(_TITLE, [Fault(field, value, problem, mend)])
