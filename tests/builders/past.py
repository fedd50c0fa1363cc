"""A drum's past as the engine takes it: events, air of its places, and what comes of them.

Hours count from ``BEGIN``, which lies on the grid and on a full hour.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from itertools import count
from typing import Any, Final
from uuid import UUID

import numpy as np

from drumkeep.domain.air import place_air
from drumkeep.domain.drum_past import Advanced, DrumPast
from drumkeep.domain.events import DrumEvent, EventKind
from drumkeep.domain.grid import STEP_MS, step_at, to_ms
from drumkeep.domain.liquid import advance_drums
from drumkeep.domain.liquid_start import StartAir
from drumkeep.domain.liquid_state import LiquidStates, band_at
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Product, Side, default_product
from drumkeep.domain.sensor_series import SensorSeries
from drumkeep.thermal.band import Band
from drumkeep.thermal.boundary import Setting

BEGIN: Final = datetime(2026, 1, 10, tzinfo=UTC)
FIRST: Final = step_at(BEGIN)
ISO: Final = default_product(Side.ISO)
RESIN: Final = default_product(Side.RESIN)
HALL: Final = 1
VAN: Final = 2

Curve = Callable[[np.ndarray], np.ndarray] | float

_numbers = count(1)


def at(hours: float) -> datetime:
    """Moment so many hours after the beginning."""
    return BEGIN + timedelta(hours=hours)


def step(hours: float) -> int:
    """Grid step at or before so many hours."""
    return step_at(at(hours))


def event(kind: str, hours: float, *, recorded: float | None = None, **data: Any) -> DrumEvent:
    """Return an event; ``recorded`` is when it was written down, hours, at once if left out."""
    return DrumEvent(
        id=UUID(int=next(_numbers)),
        kind=EventKind(kind),
        at=at(hours),
        recorded_at=at(hours if recorded is None else recorded),
        data=data,
    )


def received(hours: float = 0.0, **data: Any) -> DrumEvent:
    """Return a receipt into the hall; ``liquid_c`` if it was measured."""
    return event("received", hours, **({"place": HALL} | data))


def readings(
    curve: Curve, *, first_h: float, last_h: float, every_s: float = 300.0
) -> SensorSeries:
    """Readings of one sensor along a curve of hours."""
    ms = np.arange(to_ms(at(first_h)), to_ms(at(last_h)) + 1, int(every_s * 1000), dtype=np.int64)
    hours = (ms - to_ms(BEGIN)) / 3_600_000.0
    values = curve(hours) if callable(curve) else np.full(len(ms), float(curve))
    return SensorSeries(ts_ms=ms, value_c=values, interval_s=every_s, error_k=0.0)


def joined(*pieces: SensorSeries) -> SensorSeries:
    """Readings of one sensor with gaps between the pieces."""
    return SensorSeries(
        ts_ms=np.concatenate([p.ts_ms for p in pieces]),
        value_c=np.concatenate([p.value_c for p in pieces]),
        interval_s=pieces[0].interval_s,
        error_k=pieces[0].error_k,
    )


def place(
    air: Curve | SensorSeries | None,
    *,
    hours: float,
    motion: str = "still",
    kind: PlaceKind = PlaceKind.WAREHOUSE,
    extremes: tuple[float, float] = (-20.0, 40.0),
) -> PlaceHeat:
    """Return a place with air on record from the beginning for so many hours.

    Parameters
    ----------
    air
        A temperature, a curve of hours, one sensor's readings, or None where there is no sensor.
    hours
        Until when the grid goes.
    motion, kind
        The place's.
    extremes
        Lowest and highest air of any week, for gaps.
    """
    if air is None:
        series = []
    elif isinstance(air, SensorSeries):
        series = [air]
    else:
        series = [readings(air, first_h=0.0, last_h=hours)]
    return PlaceHeat(
        air=place_air(
            series, kind=kind, first=FIRST, last=step(hours), extremes=lambda _ms: extremes
        ),
        setting=Setting(motion=motion),
        site_kpa=101.325,
    )


def advanced(
    events: Sequence[DrumEvent],
    *,
    hours: float,
    places: Mapping[int, PlaceHeat] | Curve,
    product: Product = ISO,
    start_air: StartAir | None = None,
    start: int = FIRST,
    state: LiquidStates | None = None,
) -> Advanced:
    """Advance one drum; ``places`` may be the hall's air alone."""
    if not isinstance(places, Mapping):
        places = {HALL: place(places, hours=hours)}
    past = DrumPast(
        key=1,
        product=product,
        events=events,
        start=start,
        state=state,
        start_air=start_air,
    )
    return advance_drums([past], places=places, until=step(hours))


def state_after(events: Sequence[DrumEvent], **how: Any) -> LiquidStates:
    """Record of one drum after its events, shape (1,)."""
    return advanced(events, **how).states


def band_after(states: LiquidStates, *, hours: float) -> Band:
    """Band of one drum at so many hours, with no sensor error and nothing driving it just now."""
    return band_at(states, step=step(hours), sensor_error_k=0.0, drive_k=np.zeros(1))


def checkpoint_steps(found: Advanced) -> list[int]:
    """Steps at which checkpoints were taken."""
    return [checkpoint.step for checkpoint in found.checkpoints]


def ms_of(hours: float) -> int:
    """Epoch milliseconds of so many hours, on the grid."""
    return step(hours) * STEP_MS
