"""Heaters on drums as people record them: kinds, what makes no sense, and what must be said.

The cautions are common practice, no source; silicone bands of 1000 W and more make a hot ring, and
a forgotten one can boil the resin's agent and burst a tight drum.
"""

import re
from dataclasses import dataclass
from datetime import datetime
from enum import IntEnum
from typing import Final

from drumkeep.domain.events import DrumEvent
from drumkeep.domain.wording import temperature
from drumkeep.errors import Fault, Invalid

BAND_WIDTH_M: Final = 0.10
"""A silicone band is 3 to 4 in wide (trade pages)."""

BAND_HEIGHT_M: Final = 0.20
"""Where a band's middle is when nobody says: low, because heat rises (common practice, no source);
at half the depth where that is lower."""

LEVEL_LEEWAY_M: Final = 0.03


class Device(IntEnum):
    """What kind of heater."""

    OTHER = 0
    BAND = 1
    BASE = 2
    BLANKET = 3


_WORDS: Final = {
    "band": Device.BAND,
    "belt": Device.BAND,
    "base": Device.BASE,
    "blanket": Device.BLANKET,
    "jacket": Device.BLANKET,
}


_FLAME: Final = re.compile(
    r"\b((blow)?torch(es)?|blow ?lamps?|(open[ -])?flames?|fires?|burners?|steam|steamers?"
    r"|propane|butane|kerosene|diesel|salamanders?|charcoal)\b",
    re.IGNORECASE,
)
"""Words of what burns or steams: never to be used on a drum (suppliers' handling guides)."""


def device_of(words: str) -> Device:
    """Return the kind of heater that somebody wrote, like ``band`` or ``Blanket heater``."""
    written = words.casefold()
    return next((kind for word, kind in _WORDS.items() if word in written), Device.OTHER)


def check_device(words: str) -> None:
    """Refuse a flame or steam on a drum; any other heater is one of the kinds or another.

    Raises
    ------
    Invalid
        What was written names a flame or steam.
    """
    named = _FLAME.search(words)
    if named is None:
        return
    problem = f"means a flame or steam ({named[0]}), which must never heat a drum"
    mend = (
        "Take it off and keep away; hold the drum and ask the supplier. Heat with a band, base or "
        "blanket heater that has a thermostat, the small bung vented."
    )
    raise Invalid("Never heat a drum with it.", [Fault("device", words, problem, mend)])


def understood(words: str) -> str:
    """Return how a heater that somebody wrote was taken: ``band``, or for what that is unknown."""
    device = device_of(words)
    if device is not Device.OTHER:
        return device.name.lower()
    return "another heater, whose heat goes evenly into all of the liquid"


@dataclass(frozen=True)
class Heater:
    """A heater on a drum until a time; ``height_m`` of a band's middle above the bottom."""

    device: Device
    watts: float
    until: datetime
    height_m: float | None = None
    thermostat_c: float | None = None
    blanket_r_m2k_w: float | None = None


def heater_of(event: DrumEvent) -> Heater:
    """Return what an event of the kind ``heated`` says."""
    data = event.data
    until = data["until"]

    def number(name: str) -> float | None:
        return None if data.get(name) is None else float(data[name])

    return Heater(
        device=device_of(str(data["device"])),
        watts=float(data["watts"]),
        until=until if isinstance(until, datetime) else datetime.fromisoformat(str(until)),
        height_m=number("height_m"),
        thermostat_c=number("thermostat_c"),
        blanket_r_m2k_w=number("blanket_r_m2k_w"),
    )


def check_heater(heater: Heater, *, at: datetime, depth_m: float) -> None:
    """Refuse a heater that cannot be so.

    Parameters
    ----------
    heater
        As recorded.
    at
        When it was put on.
    depth_m
        How high the liquid stands.

    Raises
    ------
    Invalid
        It went off before it went on; a band that the liquid does not cover; a height of what is
        no band; no watts of what is no blanket.
    """
    faults = []
    if heater.until <= at:
        mend = f"Give a time after {at:%Y-%m-%dT%H:%M:%SZ}, when it was put on."
        faults.append(Fault("until", heater.until.isoformat(), "is not after at", mend))
    if heater.watts == 0.0 and heater.device is not Device.BLANKET:
        mend = "Give its watts; only a blanket insulates without heating."
        faults.append(Fault("watts", heater.watts, "heats nothing", mend))
    faults += _misplaced(heater, depth_m=depth_m)
    if heater.blanket_r_m2k_w is not None and heater.device is not Device.BLANKET:
        mend = "Leave it out, or make the device blanket."
        faults.append(
            Fault("blanket_r_m2k_w", heater.blanket_r_m2k_w, "belongs to a blanket", mend)
        )
    if faults:
        raise Invalid("The heater cannot be so.", faults)


def _misplaced(heater: Heater, *, depth_m: float) -> list[Fault]:
    height = heater.height_m
    if height is None:
        return []
    if heater.device is not Device.BAND:
        mend = "Leave it out, or make the device band."
        return [Fault("height_m", height, "belongs to a band", mend)]
    highest = depth_m - 0.5 * BAND_WIDTH_M
    if height <= highest + LEVEL_LEEWAY_M:
        return []
    problem = f"puts the band above the liquid, which stands {depth_m:.2f} m high"
    mend = (
        f"Put the band lower: its middle at most {max(highest, 0.0):.2f} m above the bottom; or "
        "weigh the drum first."
    )
    return [Fault("height_m", height, problem, mend)]


def heating_cautions(heater: Heater | None, *, maximum_c: float, now: datetime) -> list[str]:
    """Return what must be said while a heater is on a drum; sentences with marks.

    Parameters
    ----------
    heater
        The last that was put on; None where there was none.
    maximum_c
        The product's highest liquid temperature, °C.
    now
        The present.
    """
    if heater is None or heater.until <= now or heater.watts == 0.0:
        return []
    most = temperature(maximum_c)
    first = (
        "Never heat a tight drum, and this one is being heated: small bung vented, relieved under "
        f"dry gas first; the liquid never above {most}."
    )
    said = [first]
    if heater.device is Device.BAND:
        said.append("Keep the band below the liquid level, and mix: it makes a hot ring.")
    if heater.device is Device.OTHER:
        said.append(
            "Its heater is none that is known and counts as one that heats all of the liquid "
            "evenly: correct it to band, base or blanket if it is one of these."
        )
    if heater.thermostat_c is None:
        said.append(
            f"No thermostat is on record for this heater: it can pass {most}. Look at it often, "
            "and never leave it on overnight."
        )
    elif heater.thermostat_c > maximum_c:
        said.append(
            f"Its thermostat stands at {temperature(heater.thermostat_c)}, above the product's "
            f"maximum of {most}: turn it down."
        )
    return said
