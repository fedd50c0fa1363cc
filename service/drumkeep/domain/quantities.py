"""Units at the edge: the one place where °C, K, °F, kg and lb meet.

Everything inside drumkeep is °C, kg, kPa and metres; people read °F and lb or °C and kg.
"""

from typing import Final

LB_KG: Final = 0.45359237
"""Kilograms in one avoirdupois pound (international yard and pound agreement, 1959; exact)."""

ZERO_C_IN_K: Final = 273.15


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
