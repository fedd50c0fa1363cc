"""How numbers and times are written for the person who reads the page.

Values come in as °C, kg, kPa, m and aware datetimes. A ``Formats`` is made once a request from the
viewer's units, the site's zone and the moment of the request; nothing here reads a clock.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from typing import Final, Literal
from zoneinfo import ZoneInfo

from markupsafe import Markup

from drumkeep.domain.quantities import LB_KG, fahrenheit, pounds
from drumkeep.web.view_models import Units

NOT_KNOWN: Final = "not known"
_SPACE: Final = "\N{NO-BREAK SPACE}"
_MINUS: Final = "\N{MINUS SIGN}"
_TO: Final = "\N{EN DASH}"
INCH_M: Final = 0.0254
"""Metres in one inch (exact)."""

PSI_KPA: Final = LB_KG * 9.80665 / INCH_M**2 / 1000.0
"""Kilopascals in one pound-force per square inch (standard gravity; exact in its parts)."""
_DAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS: Final = (
    *("Jan", "Feb", "Mar", "Apr", "May", "Jun"),
    *("Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
)
_DAYS_NAMED: Final = 6
"""A weekday alone says which day is meant for this many days ahead."""
_NEAR_K: Final = 2.0
_SPARE_DIGITS: Final = 1
_NOON: Final = 12
_WHOLE_FROM: Final = 100.0
_HALF_HOUR: Final = timedelta(minutes=30)

How = Literal["when", "ago", "until", "left", "about", "date"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Formats:
    """Writes values in the viewer's units and times in the site's zone.

    Parameters
    ----------
    units
        ``us`` for °F, lb, psi, inches and a 12-hour clock; ``si`` for °C, kg, kPa, cm and 24 hours.
    timezone
        Zone of the site the page is about.
    now
        The moment of the request, aware.
    """

    units: Units
    timezone: tzinfo
    now: datetime

    def at(self, zone: str) -> "Formats":
        """Return the same for another site's zone (IANA name)."""
        return replace(self, timezone=ZoneInfo(zone))

    # ---- quantities -------------------------------------------------------------------------

    @property
    def temp_unit(self) -> str:
        """Unit of temperatures: °F or °C."""
        return "°F" if self.units == "us" else "°C"

    @property
    def mass_unit(self) -> str:
        """Unit of masses: lb or kg."""
        return "lb" if self.units == "us" else "kg"

    @property
    def speed_unit(self) -> str:
        """Unit of winds: mph or m/s."""
        return "mph" if self.units == "us" else "m/s"

    @property
    def length_unit(self) -> str:
        """Unit of heights in a drum: in or cm."""
        return "in" if self.units == "us" else "cm"

    @property
    def pressure_unit(self) -> str:
        """Unit of pressures: psi or kPa."""
        return "psi" if self.units == "us" else "kPa"

    def degrees(self, c: float | None, *, against: Iterable[float] = ()) -> str:
        """Return the number of a temperature without its unit.

        Parameters
        ----------
        c
            Temperature, °C, or None.
        against
            Limits (°C) that are shown beside it. A value that rounding would carry onto or across
            one of them keeps more digits, so that 49.7 °F never reads as 50 °F.
        """
        if c is None:
            return NOT_KNOWN
        digits = 0 if self.units == "us" else 1
        value = self._scaled(c)
        # rounding moves neither of them so far that one farther off would be met
        limits = [self._scaled(limit) for limit in against if abs(limit - c) < _NEAR_K]
        for spare in range(_SPARE_DIGITS + 1):
            if _reads_true(value, round(value, digits + spare), limits, digits):
                return _figure(value, digits + spare)
        unit = 10.0 ** -(digits + _SPARE_DIGITS)
        for whole in (math.floor, math.ceil):
            shown = whole(value / unit) * unit
            if _reads_true(value, shown, limits, digits):
                return _figure(shown, digits + _SPARE_DIGITS)
        return _figure(value, digits)

    def temp(self, c: float | None, *, against: Iterable[float] = ()) -> str:
        """Return a temperature with its unit: ``61 °F`` or ``16.1 °C``."""
        if c is None:
            return NOT_KNOWN
        return f"{self.degrees(c, against=against)}{_SPACE}{self.temp_unit}"

    def span(self, low: float | None, high: float | None, *, against: Iterable[float] = ()) -> str:
        """Return a range of temperatures without its unit; °C in."""
        if low is None or high is None:
            return NOT_KNOWN
        limits = tuple(against)
        first = self.degrees(low, against=limits)
        last = self.degrees(high, against=limits)
        if first == last:
            return first
        return f"{first}{_TO}{last}" if low >= 0 and high >= 0 else f"{first} to {last}"

    def temp_span(
        self, low: float | None, high: float | None, *, against: Iterable[float] = ()
    ) -> str:
        """Return a range of temperatures with its unit; °C in."""
        if low is None or high is None:
            return NOT_KNOWN
        return f"{self.span(low, high, against=against)}{_SPACE}{self.temp_unit}"

    def difference(self, kelvin: float) -> str:
        """Return a difference of temperatures, K in: ``7 °F`` or ``4.0 °C``."""
        value = kelvin * 1.8 if self.units == "us" else kelvin
        return f"{_figure(value, 0 if self.units == 'us' else 1)}{_SPACE}{self.temp_unit}"

    def fine_difference(self, kelvin: float) -> str:
        """Return a difference of temperatures to the tenth, K in: ``0.9 °F`` or ``0.5 °C``."""
        value = kelvin * 1.8 if self.units == "us" else kelvin
        return f"{_figure(value, 1)}{_SPACE}{self.temp_unit}"

    def to_tenths(self, c: float) -> str:
        """Return a temperature with its unit to the tenth, °C in: to compare two with."""
        return f"{_figure(self._scaled(c), 1)}{_SPACE}{self.temp_unit}"

    def mass(self, kg: float | None) -> str:
        """Return a mass, kg in: ``551 lb`` or ``250 kg``."""
        if kg is None:
            return NOT_KNOWN
        value = pounds(kg) if self.units == "us" else kg
        return f"{_figure(value, 0)}{_SPACE}{self.mass_unit}"

    def fine_mass(self, kg: float) -> str:
        """Return a small mass, kg in, as finely as it is known: ``0.5 lb`` or ``0.2 kg``."""
        value = pounds(kg) if self.units == "us" else kg
        return f"{value:.3g}{_SPACE}{self.mass_unit}"

    def mass_sum(self, kg: float) -> str:
        """Return the mass of many drums, kg in: ``22,046 lb``."""
        value = pounds(kg) if self.units == "us" else kg
        return f"{value:,.0f}{_SPACE}{self.mass_unit}"

    def length(self, metres: float) -> str:
        """Return a height in the drum with its unit, to the half inch or the centimetre."""
        if self.units == "us":
            return f"{round(metres / INCH_M * 2.0) / 2.0:g}{_SPACE}in"
        return f"{metres * 100.0:.0f}{_SPACE}cm"

    def pressure(self, kpa: float | None) -> str:
        """Return a pressure above the air outside, kPa in: ``4.4 psi`` or ``30 kPa``."""
        if kpa is None:
            return NOT_KNOWN
        if self.units == "us":
            return f"{_figure(kpa / PSI_KPA, 1)}{_SPACE}psi"
        return f"{_figure(kpa, 0)}{_SPACE}kPa"

    def bottle_pressure(self, kpa: float) -> str:
        """Return a gas bottle's pressure, whole, kPa in: ``2,000 psi`` or ``13,790 kPa``."""
        value = kpa / PSI_KPA if self.units == "us" else kpa
        return f"{value:,.0f}{_SPACE}{self.pressure_unit}"

    def share(self, fraction: float) -> str:
        """Return a fraction as a percentage: ``40 %``."""
        return f"{_figure(100.0 * fraction, 0)}{_SPACE}%"

    def money(self, amount: float | None, currency: str) -> str:
        """Return a sum with its currency: ``1,234 USD``; cents only under a hundred."""
        if amount is None:
            return NOT_KNOWN
        digits = 0 if amount >= _WHOLE_FROM else 2
        return f"{amount:,.{digits}f}{_SPACE}{currency}"

    def price(self, amount: float, currency: str) -> str:
        """Return the price of a unit as it was said: ``1.85 USD``, ``1.8525 USD``."""
        whole, _, cents = f"{amount:,.4f}".partition(".")
        return f"{whole}.{cents[:2]}{cents[2:].rstrip('0')}{_SPACE}{currency}"

    # ---- times ------------------------------------------------------------------------------

    def local(self, at: datetime) -> datetime:
        """Return the time in the site's zone."""
        return at.astimezone(self.timezone)

    def clock(self, at: datetime, *, short: bool = False) -> str:
        """Return the time of day: ``2:40 am`` or ``02:40``; ``short`` drops ``:00`` (``2 pm``)."""
        local = self.local(at)
        if self.units == "si":
            return f"{local:%H:%M}"
        half = _half(local)
        hour = local.hour % 12 or 12
        if short and local.minute == 0:
            return f"{hour}{_SPACE}{half}"
        return f"{hour}:{local:%M}{_SPACE}{half}"

    def day(self, at: datetime) -> str:
        """Return the day as people say it: nothing for today, ``tomorrow``, ``Fri``."""
        local, today = self.local(at), self.local(self.now)
        days = (local.date() - today.date()).days
        if days == 0:
            return ""
        if days in (1, -1):
            return "tomorrow" if days == 1 else "yesterday"
        if 1 < days <= _DAYS_NAMED:
            return _DAYS[local.weekday()]
        named = f"{_DAYS[local.weekday()]} {local.day} {_MONTHS[local.month - 1]}"
        return named if local.year == today.year else f"{named} {local.year}"

    def when(self, at: datetime | None) -> str:
        """Return a time as people say it: ``2:40 am``, ``tomorrow 6:00 am``, ``Fri 6:00 am``."""
        if at is None:
            return NOT_KNOWN
        return f"{self.day(at)} {self.clock(at)}".strip()

    def about(self, at: datetime | None) -> str:
        """Return a computed time, rounded up to the half hour: ``about 2 pm tomorrow``.

        Never rounded down: nobody should be told that a drum is ready before it is.
        """
        if at is None:
            return NOT_KNOWN
        local = self.local(at)
        over = timedelta(
            minutes=local.minute % 30, seconds=local.second, microseconds=local.microsecond
        )
        later = at if not over else at + timedelta(minutes=30) - over
        clock, day = self.clock(later, short=True), self.day(later)
        twelve = (self.local(later).hour, self.local(later).minute)
        if self.units == "us" and twelve == (_NOON, 0):
            clock = "noon"
        elif self.units == "us" and twelve == (0, 0):
            # It belongs to the evening that it ends: nobody would look for it in the morning.
            clock, day = "midnight", self.day(later - timedelta(minutes=1))
        return f"about {clock} {day}".strip()

    def between(self, earliest: datetime | None, latest: datetime | None) -> str:
        """Return a span: ``between 2 pm and 6 pm tomorrow``, ``by midnight or sooner`` from now.

        Its end is that of :meth:`about`; one time where both round to it or there is no earliest.
        """
        last = self.about(latest)
        if earliest is None or latest is None:
            return last
        first = self.earliest(earliest).removeprefix("about ")
        last = last.removeprefix("about ")
        if latest - earliest < _HALF_HOUR or first == last:
            return self.about(latest)
        shared = f" {self.day(earliest)}"
        if last.endswith(shared):
            first = first.removesuffix(shared)
        if first == "now":
            return f"by {last} or sooner"
        return f"between {first} and {last}"

    def earliest(self, at: datetime) -> str:
        """Return a computed time, rounded down to the half hour: ``about 2 pm``, ``now``."""
        if at - self.now < _HALF_HOUR:
            return "now"
        local = self.local(at)
        over = timedelta(
            minutes=local.minute % 30, seconds=local.second, microseconds=local.microsecond
        )
        return self.about(at - over)

    def date(self, at: datetime | None) -> str:
        """Return a date: ``14 Nov 2026``."""
        if at is None:
            return NOT_KNOWN
        local = self.local(at)
        return f"{local.day} {_MONTHS[local.month - 1]} {local.year}"

    def exact(self, at: datetime) -> str:
        """Return a time that leaves no doubt: ``Wed 25 Nov 2026, 2:40:05 am CST``."""
        local = self.local(at)
        clock = f"{local:%H:%M:%S}"
        if self.units == "us":
            clock = f"{local.hour % 12 or 12}:{local:%M:%S}{_SPACE}{_half(local)}"
        day = f"{_DAYS[local.weekday()]} {self.date(at)}"
        return f"{day}, {clock} {local.tzname() or ''}".strip()

    def ago(self, at: datetime | None) -> str:
        """Return how long ago: ``3 min ago``, ``2 h 5 min ago``, ``just now``."""
        if at is None:
            return "never"
        if at - self.now > timedelta(minutes=1):
            return self.until(at)
        past = duration(self.now - at)
        return f"{past} ago" if past else "just now"

    def until(self, at: datetime | None) -> str:
        """Return how long until: ``in 3 h 20 min``, ``now``, ``20 min ago``."""
        if at is None:
            return NOT_KNOWN
        if at < self.now:
            return self.ago(at) if duration(self.now - at) else "now"
        ahead = duration(at - self.now)
        return f"in {ahead}" if ahead else "now"

    def left(self, at: datetime | None) -> str:
        """Return what a deadline leaves: ``3 h 20 min left``, ``20 min overdue``."""
        if at is None:
            return ""
        if at < self.now:
            return f"{duration(self.now - at) or 'just'} overdue"
        return f"{duration(at - self.now) or 'no time'} left"

    def time(self, at: datetime | None, how: How = "when") -> Markup:
        """Return a ``<time>`` element: words as people say them, exact on hover and in print."""
        if at is None:
            return Markup("<span>{}</span>").format("never" if how == "ago" else NOT_KNOWN)
        words: str = getattr(self, how)(at)
        iso = self.local(at).isoformat(timespec="seconds")
        return Markup('<time datetime="{}" title="{}">{}</time>').format(iso, self.exact(at), words)

    def _scaled(self, c: float) -> float:
        return fahrenheit(c) if self.units == "us" else c


def duration(span: timedelta) -> str:
    """Return a span of time in its two largest parts: ``3 h 20 min``; empty under a minute."""
    minutes = int(span.total_seconds() // 60)
    days, rest = divmod(minutes, 24 * 60)
    hours, minutes = divmod(rest, 60)
    parts = []
    if days:
        parts.append(f"{days}{_SPACE}{'day' if days == 1 else 'days'}")
    if hours:
        parts.append(f"{hours}{_SPACE}h")
    if minutes and not days:
        parts.append(f"{minutes}{_SPACE}min")
    return " ".join(parts)


def _half(local: datetime) -> str:
    return "am" if local.hour < _NOON else "pm"


def _figure(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", _MINUS)


def _reads_true(value: float, shown: float, limits: list[float], digits: int) -> bool:
    """Whether the shown figure lies to every shown limit as the value lies to the limit."""
    return all(_side(shown, round(limit, digits)) == _side(value, limit) for limit in limits)


def _side(value: float, limit: float) -> int:
    """Side of a limit: -1 below, 0 on it (to a billionth, so that 10 °C is 50 °F), 1 above."""
    if abs(value - limit) < 1e-9:  # noqa: PLR2004 - far below any digit that is shown
        return 0
    return -1 if value < limit else 1
