"""How numbers and times are written for the person who reads the page.

Values come in as °C, kg, kPa, m and aware datetimes. A ``Formats`` is made once a request from the
viewer's units, the site's zone and the moment of the request; nothing here reads a clock.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from drumkeep.domain.quantities import INCH_M, PSI_KPA, fahrenheit, pounds
from drumkeep.web.moments import SPACE, Moments

_MINUS: Final = "\N{MINUS SIGN}"
_TO: Final = "\N{EN DASH}"
_NEAR_K: Final = 2.0
_SPARE_DIGITS: Final = 1
_WHOLE_FROM: Final = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Formats(Moments):
    """Writes values in the viewer's units, and times as :class:`Moments` does."""

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
            return self.not_known
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
            return self.not_known
        return f"{self.degrees(c, against=against)}{SPACE}{self.temp_unit}"

    def span(self, low: float | None, high: float | None, *, against: Iterable[float] = ()) -> str:
        """Return a range of temperatures without its unit; °C in."""
        if low is None or high is None:
            return self.not_known
        limits = tuple(against)
        first = self.degrees(low, against=limits)
        last = self.degrees(high, against=limits)
        if first == last:
            return first
        return (
            f"{first}{_TO}{last}"
            if low >= 0 and high >= 0
            else self.words("{first} to {last}", first=first, last=last)
        )

    def temp_span(
        self, low: float | None, high: float | None, *, against: Iterable[float] = ()
    ) -> str:
        """Return a range of temperatures with its unit; °C in."""
        if low is None or high is None:
            return self.not_known
        return f"{self.span(low, high, against=against)}{SPACE}{self.temp_unit}"

    def difference(self, kelvin: float) -> str:
        """Return a difference of temperatures, K in: ``7 °F`` or ``4.0 °C``."""
        value = kelvin * 1.8 if self.units == "us" else kelvin
        return f"{_figure(value, 0 if self.units == 'us' else 1)}{SPACE}{self.temp_unit}"

    def fine_difference(self, kelvin: float) -> str:
        """Return a difference of temperatures to the tenth, K in: ``0.9 °F`` or ``0.5 °C``."""
        value = kelvin * 1.8 if self.units == "us" else kelvin
        return f"{_figure(value, 1)}{SPACE}{self.temp_unit}"

    def to_tenths(self, c: float) -> str:
        """Return a temperature with its unit to the tenth, °C in: to compare two with."""
        return f"{_figure(self._scaled(c), 1)}{SPACE}{self.temp_unit}"

    def mass(self, kg: float | None) -> str:
        """Return a mass, kg in: ``551 lb`` or ``250 kg``."""
        if kg is None:
            return self.not_known
        value = pounds(kg) if self.units == "us" else kg
        return f"{_figure(value, 0)}{SPACE}{self.mass_unit}"

    def fine_mass(self, kg: float) -> str:
        """Return a small mass, kg in, as finely as it is known: ``0.5 lb`` or ``0.2 kg``."""
        value = pounds(kg) if self.units == "us" else kg
        return f"{value:.3g}{SPACE}{self.mass_unit}"

    def mass_sum(self, kg: float) -> str:
        """Return the mass of many drums, kg in: ``22,046 lb``."""
        value = pounds(kg) if self.units == "us" else kg
        return f"{value:,.0f}{SPACE}{self.mass_unit}"

    def length(self, metres: float) -> str:
        """Return a height in the drum with its unit, to the half inch or the centimetre."""
        if self.units == "us":
            return f"{round(metres / INCH_M * 2.0) / 2.0:g}{SPACE}in"
        return f"{metres * 100.0:.0f}{SPACE}cm"

    def pressure(self, kpa: float | None) -> str:
        """Return a pressure above the air outside, kPa in: ``4.4 psi`` or ``30 kPa``."""
        if kpa is None:
            return self.not_known
        if self.units == "us":
            return f"{_figure(kpa / PSI_KPA, 1)}{SPACE}psi"
        return f"{_figure(kpa, 0)}{SPACE}kPa"

    def bottle_pressure(self, kpa: float) -> str:
        """Return a gas bottle's pressure, whole, kPa in: ``2,000 psi`` or ``13,790 kPa``."""
        value = kpa / PSI_KPA if self.units == "us" else kpa
        return f"{value:,.0f}{SPACE}{self.pressure_unit}"

    def share(self, fraction: float) -> str:
        """Return a fraction as a percentage: ``40 %``."""
        return f"{_figure(100.0 * fraction, 0)}{SPACE}%"

    def money(self, amount: float | None, currency: str) -> str:
        """Return a sum with its currency: ``1,234 USD``; cents only under a hundred."""
        if amount is None:
            return self.not_known
        digits = 0 if amount >= _WHOLE_FROM else 2
        return f"{amount:,.{digits}f}{SPACE}{currency}"

    def price(self, amount: float, currency: str) -> str:
        """Return the price of a unit as it was said: ``1.85 USD``, ``1.8525 USD``."""
        whole, _, cents = f"{amount:,.4f}".partition(".")
        return f"{whole}.{cents[:2]}{cents[2:].rstrip('0')}{SPACE}{currency}"

    def _scaled(self, c: float) -> float:
        return fahrenheit(c) if self.units == "us" else c


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
