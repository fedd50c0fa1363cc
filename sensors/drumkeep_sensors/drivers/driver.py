"""What every driver is."""

from typing import Protocol


class Unreadable(Exception):
    """There is no reading now; the message says why, short and the same each time.

    A value that is known to be none, such as the power-on value of a thermometer, is unreadable
    too: it is counted and never sent.
    """


class Driver(Protocol):
    """One sensor."""

    def read(self) -> float:
        """Return the value now, as the sensor gives it, in the unit of its configuration.

        Raises
        ------
        Unreadable
            There is none.
        """
