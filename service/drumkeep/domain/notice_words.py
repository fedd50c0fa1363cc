"""What a notice says: first what to do, the verb first; then where, for whom, and what to mind.

A text message is written in the 7-bit alphabet of mobile phones (GSM 03.38, 3GPP TS 23.038 §6.2.1),
of which 160 characters go into one; any other symbol would leave room for 70.
"""

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from drumkeep.domain import cautions
from drumkeep.domain.alarms import AlarmKind, Priority
from drumkeep.domain.notices import Channel, Occasion
from drumkeep.domain.quantities import PSI_KPA, fahrenheit, pounds
from drumkeep.domain.side_checks import CAUTION_CROSSOVER
from drumkeep.domain.time_words import Speech, clock_words, day_words, span_words
from drumkeep.domain.wording import filled, temperatures

ONE_TEXT: Final = 160
"""Characters of one text message in the 7-bit alphabet."""

TITLE_LENGTH: Final = 150
_TAGS_TOLD: Final = 12
_KELVIN_TO_F: Final = 1.8

_MOVING: Final = "Heavy: drum truck, two people. Bulged or hissing: do not move, do not open."
_DIPPING: Final = "Before you dip: vent slowly by the small bung, face away."
_NITROGEN: Final = "Nitrogen displaces air: not in a closed room."

_CAUTIONS: Final[Mapping[AlarmKind, tuple[str, ...]]] = {
    AlarmKind.SEEDING: (_MOVING, cautions.CAUTION_HEATING),
    AlarmKind.COLD_LOAD: (_MOVING, cautions.CAUTION_HEATING),
    AlarmKind.WARM_UP: (_MOVING, cautions.CAUTION_HEATING),
    AlarmKind.NOT_IN_TIME: (_MOVING, cautions.CAUTION_HEATING),
    AlarmKind.STORAGE_BAND: (_MOVING, cautions.CAUTION_HEATING),
    AlarmKind.GASSING: (cautions.CAUTION_GASSING, _MOVING),
    AlarmKind.PRESSURE: (cautions.CAUTION_PRESSURE,),
    AlarmKind.OVERPRESSURE: (cautions.CAUTION_PRESSURE, cautions.CAUTION_BULGED),
    AlarmKind.VACUUM: (cautions.CAUTION_ISO,),
    AlarmKind.CONDENSATION: (_NITROGEN, cautions.CAUTION_ISO),
    AlarmKind.BLANKET_MISSING: (_NITROGEN, cautions.CAUTION_ISO),
    AlarmKind.SHELF_LIFE: (_MOVING,),
    AlarmKind.RATIO_OFF: (_DIPPING, cautions.CAUTION_ISO),
    AlarmKind.SIDE_MISMATCH: (CAUTION_CROSSOVER,),
    AlarmKind.NOT_COMPUTED: (_DIPPING,),
    AlarmKind.SENSOR_SILENT: (_DIPPING,),
    AlarmKind.SENSOR_STUCK: (_DIPPING,),
    AlarmKind.SENSOR_IMPLAUSIBLE: (_DIPPING,),
}
"""Cautions by what the alarm may lead somebody to do; none where it leads to no drum."""

_SHEET_IN_SHORT: Final = "Data sheet first."

_GSM: Final = frozenset(
    "@£$¥èéùìòÇ\nØøÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡"
    "ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_GSM_DOUBLE: Final = frozenset("^{}\\[~]|€")
"""Symbols of the alphabet's extension: each takes the room of two."""

_PLAINER: Final[Mapping[str, str]] = {
    "°F": "F",
    "°C": "C",
    "\N{MINUS SIGN}": "-",
    "\N{EN DASH}": "-",
    "\N{EM DASH}": "-",
    "\N{HORIZONTAL ELLIPSIS}": "...",
    "\N{LEFT DOUBLE QUOTATION MARK}": '"',
    "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
    "\N{RIGHT SINGLE QUOTATION MARK}": "'",
    "\N{MULTIPLICATION SIGN}": "x",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """Who reads a notice and how: units ``us`` or ``si``, what takes it, and in which language."""

    units: str
    channel: Channel
    speech: Speech


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """What is told of.

    Attributes
    ----------
    kind, priority, audience
        Of the alarm.
    message
        Its sentence, with marks (``domain.wording``).
    drums
        Tags under it.
    deadline
        Until when acting helps.
    site, timezone
        The site's name and its zone (IANA).
    acknowledged_by
        Who acts on it; None while nobody does.
    returned_at
        When it went back to normal.
    """

    kind: AlarmKind
    priority: Priority
    audience: tuple[str, ...]
    message: str
    drums: tuple[str, ...]
    deadline: datetime | None
    site: str
    timezone: str
    acknowledged_by: str | None = None
    returned_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Text:
    """A notice as it goes out; the title is empty where the channel has none."""

    title: str
    body: str


def notice_text(
    cause: Cause,
    *,
    occasion: Occasion,
    reader: Reader,
    link: str | None,
    maybe_had: bool,
    now: datetime,
) -> Text:
    """Write a notice of an alarm.

    Parameters
    ----------
    cause
        What is told of, as it is now.
    occasion
        Why it is told.
    reader
        For whom.
    link
        Address of the page; None where it is not known.
    maybe_had
        Whether it may have gone out already, because a sender died on it.
    now
        The present.
    """
    speech = reader.speech
    clock = _Clock(reader.units, ZoneInfo(cause.timezone), now, speech)
    said, left = _first_line(cause, occasion=occasion, clock=clock)
    first = f"{said}{left}"
    over = occasion is Occasion.OVER
    told = () if over else tuple(map(speech.say, _CAUTIONS.get(cause.kind, ())))
    had = (speech.words("You may have had this message already."),) if maybe_had else ()
    if reader.channel is Channel.TEXT:
        caution = gsm(f"{told[0]} {speech.say(_SHEET_IN_SHORT)}") if told else ""
        # Of a long sentence the end goes, never the time that is left.
        first = f"{clipped(gsm(said), longest=ONE_TEXT - len(left))}{gsm(left)}"
        lines = (first, *map(gsm, had), caution, link or "")
        return Text("", "\n".join(line for line in lines if line))
    lines = (
        first,
        *had,
        _what(cause, occasion=occasion, clock=clock),
        _drums(cause.drums, speech),
        " ".join((*told, speech.say(cautions.CAUTION_SHEET))) if told else "",
        link or "",
    )
    return Text(
        title_of(cause, occasion=occasion, reader=reader, first=first),
        "\n".join(line for line in lines if line),
    )


def test_text(reader: Reader, *, name: str, link: str | None) -> Text:
    """Write a notice that says that notices arrive."""
    first = reader.speech.words(
        "Nothing to do: this is a test. Notices of drumkeep for {name} arrive here.", name=name
    )
    if reader.channel is Channel.TEXT:
        first = clipped(gsm(first))
        return Text("", first if link is None else f"{first}\n{link}")
    chat = reader.channel is Channel.CHAT
    title = "" if chat else reader.speech.words("drumkeep: test notice")
    return Text(title, first if link is None else f"{first}\n{link}")


def title_of(cause: Cause, *, occasion: Occasion, reader: Reader, first: str) -> str:
    """Return the title: of a mail what to do, as a locked phone shows that; else what it is."""
    speech = reader.speech
    if reader.channel is Channel.CHAT:
        return ""
    if reader.channel is Channel.MAIL:
        return clipped(first, longest=TITLE_LENGTH)
    if occasion is Occasion.OVER:
        title = speech.words("drumkeep: Over, {site}", site=cause.site)
    else:
        priority = speech.say(cause.priority).capitalize()
        title = speech.words(
            "drumkeep: {priority} alarm, {site}", priority=priority, site=cause.site
        )
    return clipped(title, longest=TITLE_LENGTH)


def gsm(text: str) -> str:
    """Write a text in the 7-bit alphabet: signs in plainer ones, letters without their accents."""
    for sign, plainer in _PLAINER.items():
        text = text.replace(sign, plainer)
    return "".join(_gsm_symbol(symbol) for symbol in text)


def gsm_length(text: str) -> int:
    """Return the room that a text takes in the 7-bit alphabet, in characters."""
    return len(text) + sum(symbol in _GSM_DOUBLE for symbol in text)


def clipped(text: str, *, longest: int = ONE_TEXT) -> str:
    """Cut a text between two words where it is too long."""
    if gsm_length(text) <= longest:
        return text
    while gsm_length(text) > longest - 3:
        words, _, last = text.rpartition(" ")
        text = words if words and len(last) <= longest // 4 else text[:-1]
    return f"{text}..."


def _gsm_symbol(symbol: str) -> str:
    if symbol in _GSM or symbol in _GSM_DOUBLE:
        return symbol
    if symbol.isspace():
        return " "
    bare = "".join(c for c in unicodedata.normalize("NFKD", symbol) if c in _GSM)
    return bare or "?"


@dataclass(frozen=True, slots=True)
class _Clock:
    """Writes quantities and times for one reader, in the site's zone."""

    units: str
    zone: ZoneInfo
    now: datetime
    speech: Speech

    def sentence(self, text: str) -> str:
        """Say a sentence and fill its marks."""
        degrees = [self._degrees(c) for c in set(temperatures(text))]
        # two temperatures that are not the same never read as if they were
        digits = 1 if self.units == "si" or len({round(d) for d in degrees}) < len(degrees) else 0
        unit = "°F" if self.units == "us" else "°C"
        us = self.units == "us"
        return filled(
            self.speech.say(text),
            quantity={
                "t": lambda c: f"{_figure(self._degrees(c), digits)} {unit}",
                "d": lambda k: f"{_figure(k * _KELVIN_TO_F if us else k, digits)} {unit}",
                "m": lambda kg: f"{pounds(kg):.0f} lb" if us else f"{kg:.0f} kg",
                "p": lambda p: f"{_figure(p / PSI_KPA, 1)} psi" if us else f"{_figure(p, 0)} kPa",
            },
            when=self.when,
        )

    def when(self, at: datetime) -> str:
        """Return a time as people say it: ``2:40 am``, ``tomorrow 6:00 am``, ``Fri 6:00 am``."""
        local, today = at.astimezone(self.zone), self.now.astimezone(self.zone).date()
        day = day_words(local, today=today, speech=self.speech)
        return f"{day} {self.time(local)}".strip()

    def time(self, local: datetime) -> str:
        """Return the time of day of a time in the site's zone."""
        return clock_words(local, units=self.units)

    def here(self) -> str:
        """Return the present with its zone: ``2:00 am CST``."""
        local = self.now.astimezone(self.zone)
        return f"{self.time(local)} {local.tzname()}"

    def _degrees(self, c: float) -> float:
        return fahrenheit(c) if self.units == "us" else c


def _first_line(cause: Cause, *, occasion: Occasion, clock: _Clock) -> tuple[str, str]:
    said = clock.sentence(cause.message)
    words = clock.speech.words
    if occasion is Occasion.OVER:
        if cause.returned_at is None:
            return words("It is over. It was: {said}", said=said), ""
        at = clock.when(cause.returned_at)
        return words("It is over since {at}. It was: {said}", at=at, said=said), ""
    if cause.priority is Priority.CRITICAL:
        said = words("CRITICAL: {said}", said=said)
    return said, _left(cause.deadline, clock)


def _what(cause: Cause, *, occasion: Occasion, clock: _Clock) -> str:
    say, words = clock.speech.say, clock.speech.words
    parts = [
        words(
            "{priority}, for {roles}. {site}, {now}.",
            priority=say(cause.priority).capitalize(),
            roles=say(" and ".join(cause.audience)),
            site=cause.site,
            now=clock.here(),
        )
    ]
    match occasion:
        case Occasion.GRAVER:
            parts.append(words("It is graver than you were told."))
        case Occasion.AMENDED:
            parts.append(words("This amends what you were told."))
        case Occasion.AGAIN:
            parts.append(words("It is back."))
    if cause.acknowledged_by is not None and occasion is not Occasion.OVER:
        parts.append(words("Acknowledged by {name}.", name=cause.acknowledged_by))
    return " ".join(parts)


def _drums(tags: tuple[str, ...], speech: Speech) -> str:
    if not tags:
        return ""
    named, more = ", ".join(tags[:_TAGS_TOLD]), len(tags) - _TAGS_TOLD
    if more > 0:
        return speech.words("Drums: {tags} and {more} more.", tags=named, more=more)
    return speech.words("Drums: {tags}.", tags=named)


def _left(deadline: datetime | None, clock: _Clock) -> str:
    if deadline is None:
        return ""
    left, words = deadline - clock.now, clock.speech.words
    if left < timedelta(minutes=1):
        return f" {words('No time left.')}"
    return f" {words('{span} left.', span=span_words(left, speech=clock.speech))}"


def _figure(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if float(text) == 0.0 else text
