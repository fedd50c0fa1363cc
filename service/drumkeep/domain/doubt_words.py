"""What a doubt says to people: what was seen, and since when. With marks (``domain.wording``)."""

from typing import Final

from drumkeep.domain.grid import from_ms
from drumkeep.domain.plausibility import Doubt, Reason
from drumkeep.domain.sensors import What
from drumkeep.domain.wording import moment, temperature

_MEASURED: Final = {
    What.AIR: "air",
    What.FLOOR: "a floor",
    What.SKIN: "a drum's skin",
    What.LIQUID: "a drum's liquid",
    What.HUMIDITY: "humidity",
    What.SUN: "the sun",
}


def seen(doubt: Doubt, *, what: What) -> str:
    """Say what was seen, as a clause about the sensor.

    Parameters
    ----------
    doubt
        A span of doubt.
    what
        What the sensor measures.
    """
    value = said(doubt.value, what=what)
    other = None if doubt.other is None else said(doubt.other, what=what)
    since = moment(from_ms(doubt.from_ms))
    match doubt.reason:
        case Reason.RANGE:
            return f"said {value} at {since}, which {_MEASURED[what]} cannot be"
        case Reason.JUMP:
            if other is None:
                return f"jumped to {value} at {since}, faster than {_MEASURED[what]} changes"
            return (
                f"jumped from {other} to {value} at {since}, faster than {_MEASURED[what]} changes"
            )
        case Reason.STUCK:
            return f"has said {value} without a change for too long, doubted since {since}"
        case Reason.APART:
            return f"says {value} where the others say {other}, doubted since {since}"


def said(value: float, *, what: What) -> str:
    """Write a value as what it is."""
    if what is What.SUN:
        return f"{value:.0f} W/m²"
    return f"{value:.0f} %" if what is What.HUMIDITY else temperature(value)
