"""What the floor tells of the air of places: the last day, the next half day, low and high.

It is made with the estimates of the drums that stand there and stored; where nobody made it lately,
as of a place in which no drum stands, it is made when it is asked for.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air_ahead import PER_HOUR, STRIDE, air_ahead, basis_words
from drumkeep.domain.grid import STEP_MS, STEPS_PER_HOUR, moment_of
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.places import PlaceKind
from drumkeep.operations.ground import Premises, read_ground
from drumkeep.operations.surroundings import read_places
from drumkeep.storage import glances
from drumkeep.storage.tables.catalogue import Place
from drumkeep.storage.transaction import Tx

PAST_STEPS: Final = 24 * STEPS_PER_HOUR
AHEAD_HOURS: Final = 12
EXTREMES_HOURS: Final = 24
"""The next low and high are told as far ahead as this: past midnight at any hour of the day."""

WORTH_TELLING_K: Final = 1.0
FRESH_STEPS: Final = 3
"""What was made longer ago than this is made anew."""

_LINE_STRIDE: Final = 3
_DIGITS: Final = 3


@dataclass(frozen=True, slots=True)
class ShelfAir:
    """The air of one place; °C and epoch ms UTC.

    ``now_c`` is None where the air is not known now. ``past`` holds (time, °C), ``ahead`` (time,
    likely, low, high); ``low`` and ``high`` are the next ones, each unless it is now or the air
    hardly changes; ``basis`` says what the air ahead rests on.
    """

    now_c: float | None
    supported_to_ms: int | None
    past: Sequence[Sequence[float]] = ()
    ahead: Sequence[Sequence[float]] = ()
    low: Sequence[float] | None = None
    high: Sequence[float] | None = None
    basis: str = ""


def shelf_air(place: Place, *, heat: PlaceHeat, step: int) -> ShelfAir:
    """Return what is told of a place's air.

    Parameters
    ----------
    place
        Which.
    heat
        Its air over at least the day up to ``step``.
    step
        The grid step of the present.
    """
    air = heat.air
    now_c = float(air.likely[step - air.first]) if air.supported_at(step) else None
    if not np.isfinite(air.likely[step - air.first]):
        return ShelfAir(now_c=now_c, supported_to_ms=air.supported_to_ms)
    ahead = air_ahead(
        kind=PlaceKind(place.kind),
        set_point_c=place.set_point_c,
        air=air,
        clues=heat.clues,
        now_step=step,
        hours=EXTREMES_HOURS,
    )
    times = [(step + i * STRIDE) * STEP_MS for i in range(len(ahead.likely))]
    lines = (ahead.likely, ahead.low, ahead.high)
    low, high = _extremes(ahead.likely, times)
    begin = max(step - PAST_STEPS, air.first)
    return ShelfAir(
        now_c=now_c,
        supported_to_ms=air.supported_to_ms,
        past=[
            [s * STEP_MS, round(float(air.likely[s - air.first]), _DIGITS)]
            for s in range(begin, step + 1, _LINE_STRIDE)
            if air.supported_at(s)
        ],
        ahead=[
            [times[i], *(round(float(line[i]), _DIGITS) for line in lines)]
            for i in range(AHEAD_HOURS * PER_HOUR + 1)
        ],
        low=low,
        high=high,
        basis=basis_words(ahead, now=moment_of(step)),
    )


def _extremes(
    likely: NDArray[np.float64], times: Sequence[int]
) -> tuple[tuple[float, int] | None, tuple[float, int] | None]:
    if np.ptp(likely) < WORTH_TELLING_K:
        return None, None
    low, high = int(likely.argmin()), int(likely.argmax())
    return (
        (float(likely[low]), times[low]) if low else None,
        (float(likely[high]), times[high]) if high else None,
    )


def as_stored(heats: Mapping[int, PlaceHeat], *, premises: Premises, step: int) -> dict[int, Any]:
    """Return what is to be stored of places' air, by place id."""
    return {
        place: asdict(shelf_air(premises.places[place], heat=heat, step=step))
        for place, heat in heats.items()
    }


def read_shelf_airs(tx: Tx, *, place_ids: Iterable[int], step: int) -> dict[int, ShelfAir]:
    """Return the air of places as of about a grid step."""
    wanted = list(place_ids)
    stored = glances.shelf_airs(tx, place_ids=wanted, since=step - FRESH_STEPS)
    found = {place: ShelfAir(**told) for place, told in stored.items()}
    missing = [place for place in wanted if place not in found]
    if not missing:
        return found
    ground = read_ground(tx, around=missing)
    heats = read_places(tx, ground=ground, place_ids=missing, first=step - PAST_STEPS, last=step)
    return found | {
        place: shelf_air(ground.places[place], heat=heat, step=step)
        for place, heat in heats.items()
    }
