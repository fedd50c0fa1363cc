"""Units at the edge: the one place where °C, K, °F, kg and lb meet.

Everything inside drumkeep is °C, kg, kPa and metres; people read °F and lb or °C and kg.
"""

from typing import Final

LB_KG: Final = 0.45359237
"""Kilograms in one avoirdupois pound (international yard and pound agreement, 1959; exact)."""

ZERO_C_IN_K: Final = 273.15

INCH_M: Final = 0.0254
"""Metres in one inch (international yard and pound agreement, 1959; exact)."""

PSI_KPA: Final = LB_KG * 9.80665 / INCH_M**2 / 1000.0
"""Kilopascals in one pound-force a square inch; standard gravity is exact (CGPM, 1901)."""


def fahrenheit(celsius: float) -> float:
    """Degrees Fahrenheit of a temperature in °C."""
    return celsius * 1.8 + 32.0


def celsius_from_fahrenheit(fahrenheit_value: float) -> float:
    """Degrees Celsius of a temperature in °F (75 °F is 23.888… °C, never rounded)."""
    return (fahrenheit_value - 32.0) / 1.8


def kelvin(celsius: float) -> float:
    """Kelvin of a temperature in °C."""
    return celsius + ZERO_C_IN_K


def pounds(kilograms: float) -> float:
    """Pounds of a mass in kg."""
    return kilograms / LB_KG


def kilograms_from_pounds(pound_value: float) -> float:
    """Kilograms of a mass in lb."""
    return pound_value * LB_KG


def metres_from_inches(inches: float) -> float:
    """Metres of a length in inches."""
    return inches * INCH_M


def metres_from_centimetres(centimetres: float) -> float:
    """Metres of a length in cm."""
    return centimetres / 100.0


def kilopascals_from_psi(psi: float) -> float:
    """Kilopascals of a pressure in psi."""
    return psi * PSI_KPA
