"""Sentences that carry quantities without choosing units.

Rules speak in plain words with marks such as ``{t:10.0}`` (°C), ``{d:2.5}`` (kelvin), ``{m:12}``
(kg), ``{p:32}`` (kPa) and ``{w:2026-01-31T05:00:00+00:00}`` (a time). Who shows the sentence fills
the marks in the reader's own units and time zone; the API fills them in SI and UTC.

Names and reasons that people typed stand in these sentences too, so only what a rule could have
written is a mark, and everything else stays as it is.
"""

import re
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Final

_MARK: Final = re.compile(
    r"\{(?:(?P<kind>[tdmp]):(?P<value>-?\d{1,9}(?:\.\d{1,9})?)"
    r"|w:(?P<when>2\d{3}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,6})?[+-]\d\d:\d\d))\}",
    re.ASCII,
)


def temperature(celsius: float) -> str:
    """Mark a temperature, °C."""
    return f"{{t:{celsius:.2f}}}"


def difference(kelvin: float) -> str:
    """Mark a difference of temperatures, K."""
    return f"{{d:{kelvin:.2f}}}"


def moment(when: datetime) -> str:
    """Mark a time."""
    return f"{{w:{when.isoformat()}}}"


def mass(kg: float) -> str:
    """Mark a mass, kg."""
    return f"{{m:{kg:.4f}}}"


def pressure(kpa: float) -> str:
    """Mark a gauge pressure, kPa."""
    return f"{{p:{kpa:.1f}}}"


def filled(
    text: str,
    *,
    quantity: Mapping[str, Callable[[float], str]],
    when: Callable[[datetime], str],
) -> str:
    """Fill the marks.

    Parameters
    ----------
    text
        A sentence with marks.
    quantity
        How to write ``t`` (°C), ``d`` (K), ``m`` (kg) and ``p`` (kPa).
    when
        How to write a time.
    """

    def fill(match: re.Match[str]) -> str:
        if match["when"] is None:
            return quantity[match["kind"]](float(match["value"]))
        try:
            return when(datetime.fromisoformat(match["when"]))
        except ValueError:  # the 31st of a short month, which a person wrote
            return match[0]

    return _MARK.sub(fill, text)


def temperatures(text: str) -> list[float]:
    """Return the temperatures (°C) that a sentence tells, in order."""
    return [float(match["value"]) for match in _MARK.finditer(text) if match["kind"] == "t"]


_SI: Final[Mapping[str, Callable[[float], str]]] = {
    "t": lambda c: f"{c:.1f} °C",
    "d": lambda k: f"{k:.1f} K",
    "m": lambda kg: f"{kg:.1f} kg",
    "p": lambda kpa: f"{kpa:.0f} kPa",
}


def plain(text: str) -> str:
    """Fill the marks in SI and UTC."""
    return filled(text, quantity=_SI, when=lambda w: f"{w.astimezone(UTC):%Y-%m-%dT%H:%MZ}")
