"""Drums for benchmarks: both sides, several fills, a few dozen places, a winter's air."""

from dataclasses import replace

import numpy as np

from drumkeep.domain.drum_past import DrumPast
from drumkeep.domain.liquid import advance_drums
from drumkeep.domain.liquid_surroundings import PlaceHeat
from tests.builders.past import FIRST, HALL, ISO, RESIN, Curve, place, received, step

PLACES = 40
FILLS_KG = (240.0, 200.0, 120.0, 60.0)


def places(*, hours: float) -> dict[int, PlaceHeat]:
    """Return places whose air swings by day and night, each about its own mean."""

    def air(number: int) -> Curve:
        mean = -8.0 + 0.7 * number
        return lambda h: mean + 5.0 * np.sin((h + number) * 2.0 * np.pi / 24.0)

    motions = ("still", "fan", "moving")
    return {
        HALL + n: place(air(n), hours=hours, motion=motions[n % len(motions)])
        for n in range(PLACES)
    }


def stock(drums: int, *, around: dict[int, PlaceHeat]) -> list[DrumPast]:
    """Return so many drums that stand where they were received an hour ago, their liquid known."""
    kinds = [
        (product, HALL + n, fill)
        for product in (ISO, RESIN)
        for n in range(PLACES)
        for fill in FILLS_KG
    ]
    begun = advance_drums(
        [
            DrumPast(
                key=key,
                product=product,
                events=[received(place=where, net_kg=fill, liquid_c=16.0)],
                start=FIRST,
            )
            for key, (product, where, fill) in enumerate(kinds)
        ],
        places=around,
        until=step(1.0),
    ).states
    alike = [
        DrumPast(key=0, product=product, events=(), start=step(1.0), state=begun[i : i + 1])
        for i, (product, _, _) in enumerate(kinds)
    ]
    return [replace(alike[key % len(alike)], key=key) for key in range(drums)]
