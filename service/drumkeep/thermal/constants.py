"""Physical constants and the drum's own figures, each with its source."""

from typing import Final

GRAVITY_M_S2: Final = 9.80665
"""Standard gravity (3rd CGPM, 1901; exact)."""

STEFAN_BOLTZMANN_W_M2K4: Final = 5.670374419e-8
"""CODATA 2018 (exact in the SI of 2019)."""

GAS_CONSTANT_J_MOLK: Final = 8.314462618
"""CODATA 2018."""

ZERO_C_K: Final = 273.15

STANDARD_PRESSURE_KPA: Final = 101.325

DRUM_RADIUS_M: Final = 0.286
"""Inside radius of a 55 US gal tight-head steel drum (trade tables give 0.5715 m diameter)."""

DRUM_BRIM_M3: Final = 0.2165
"""Brimful capacity, common size of ISO 15750-2 (from memory; the standard was not to be had)."""

DRUM_STEEL_KG: Final = 18.1
"""Mass of a closed-head drum, 0.9 mm body (retrieved trade table)."""

STEEL_SPECIFIC_HEAT_J_KGK: Final = 465.0
"""Carbon steel near 20 °C (from memory, handbook value)."""

PAINT_EMISSIVITY: Final = 0.90
"""Painted steel (thermal-camera reference tables give 0.87–0.97 for lacquers)."""
