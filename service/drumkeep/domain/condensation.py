"""Water on steel and in iso: the dew point of the air round a drum, before it is opened."""

from dataclasses import dataclass
from typing import Final

from drumkeep.domain.wording import temperature
from drumkeep.thermal.psychrometrics import dew_point

DEW_MARGIN_K: Final = 2.0
"""A surface closer to the dew point than this may sweat."""

CLEAR_MARGIN_K: Final = 2.5
"""Past which an alarm on sweating ends."""

ASSUMED_HUMIDITY: Final = 70.0
"""Relative humidity (%) where no sensor tells it; said so wherever it is used."""


@dataclass(frozen=True)
class WetAir:
    """Dew point (°C) of the air round a drum, and the relative humidity (%) behind it.

    ``air_c`` is that air's temperature, None where only its dew point is known.
    """

    dew_c: float
    humidity: float
    assumed: bool
    air_c: float | None = None

    def margin_k(self, coldest_c: float) -> float:
        """How far the drum's coldest surface lies above the dew point, K.

        Parameters
        ----------
        coldest_c
            The coldest that the liquid may be, °C. Between it and colder air the wall lies half
            way, for the films on both sides of it are of one order.
        """
        wall = coldest_c if self.air_c is None else 0.5 * (coldest_c + self.air_c)
        return min(coldest_c, wall) - self.dew_c

    @property
    def words(self) -> str:
        """Tell the humidity and whether it was measured."""
        if self.assumed:
            return f"{self.humidity:.0f} % humidity, assumed"
        return f"{self.humidity:.0f} % humidity, measured"

    @property
    def keep_shut(self) -> str:
        """Tell to keep a drum shut, and why, marked."""
        return f"Keep it shut: steel under {self.limit} sweats in this air ({self.words})."

    @property
    def limit(self) -> str:
        """The temperature under which steel may sweat, marked."""
        return temperature(self.dew_c + DEW_MARGIN_K)


def wet_air(*, air_c: float, humidity: float | None) -> WetAir:
    """Return the wet air of a place; its humidity (%) is assumed where None is measured."""
    told = ASSUMED_HUMIDITY if humidity is None else humidity
    return WetAir(
        dew_c=dew_point(temperature_c=air_c, relative_humidity=told),
        humidity=told,
        assumed=humidity is None,
        air_c=air_c,
    )
