"""What lies ahead of drums where they are, in their warm room, and for when they are wanted."""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

import numpy as np
from numpy.lib.recfunctions import repack_fields
from numpy.typing import NDArray

from drumkeep.domain.air_ahead import PER_HOUR, STRIDE
from drumkeep.domain.grid import moment_of
from drumkeep.domain.liquid_state import LiquidStates, likely_mean
from drumkeep.domain.outlook import (
    ALARM_HOURS,
    READY_HOURS,
    first_below,
    first_perhaps_within,
    first_within,
    mixed_within,
    steps_below,
)
from drumkeep.domain.products import OutputClass
from drumkeep.domain.readiness import Ahead
from drumkeep.domain.wording import temperature
from drumkeep.operations.days_ahead import AT_ONCE, AirsAhead, DaysAhead, Subject
from drumkeep.operations.ground import Premises
from drumkeep.operations.start_times import start_by
from drumkeep.storage.tables.catalogue import Place
from drumkeep.thermal.band import REST_K, Band

Floats = NDArray[np.float64]

_TELLING: Final = [
    "layers",
    "ring",
    "mass_kg",
    "doubt_k",
    "heat_device",
    "heat_w",
    "heat_until",
    "heat_height_m",
    "thermostat_c",
    "heat_blanket_r",
]
"""What of a drum's record its future hangs on, beside its place and product."""


@dataclass(frozen=True)
class DrumOutlook:
    """One drum's days ahead.

    ``seeds_at`` and ``cold_hours`` look 12 h ahead under the likely air; the rest is the slow case.
    ``soon_c`` is the likely course's layers now and a forecast step later, °C, shape
    (2, 3, layer); None for a drum that was not looked ahead for.
    """

    ahead: Mapping[OutputClass, Ahead] = field(default_factory=dict)
    seeds_at: datetime | None = None
    cold_hours: float = 0.0
    lowest_c: float | None = None
    maybe_seeds_at: datetime | None = None
    wanted_at: datetime | None = None
    start_by: datetime | None = None
    slow_ready_at: datetime | None = None
    warm_room_place: int | None = None
    soon_c: Floats | None = field(default=None, repr=False, compare=False)

    def as_json(self) -> dict[str, Any]:
        """Return it as it is stored; times as ISO text."""

        def iso(moment: datetime | None) -> str | None:
            return None if moment is None else moment.isoformat()

        return {
            "seeds_at": iso(self.seeds_at),
            "cold_hours": self.cold_hours,
            "lowest_c": self.lowest_c,
            "maybe_seeds_at": iso(self.maybe_seeds_at),
            "wanted_at": iso(self.wanted_at),
            "start_by": iso(self.start_by),
            "slow_ready_at": iso(self.slow_ready_at),
            "warm_room_place": self.warm_room_place,
        }


def look_ahead(
    drums: Sequence[Subject],
    *,
    states: LiquidStates,
    airs: AirsAhead,
    premises: Premises,
    now: datetime,
) -> list[DrumOutlook]:
    """Look ahead for drums, in the order given; those not known or gone get an empty outlook."""
    live = (
        states["alive"] & np.isfinite(states["layers"]).all(axis=(1, 2)) & (states["mass_kg"] > 0.0)
    )
    coarse, groups = alike(
        states,
        among=np.flatnonzero(live).tolist(),
        apart=[
            (
                id(drum.product),
                drum.share,
                drum.facts.place,
                drum.facts.wanted_at,
                drum.facts.wanted_output,
            )
            for drum in drums
        ],
    )
    outlooks = [DrumOutlook() for _ in drums]
    for some in (groups[n : n + AT_ONCE] for n in range(0, len(groups), AT_ONCE)):
        first = [group[0] for group in some]
        ahead = DaysAhead(
            drums=[drums[i] for i in first],
            states=coarse[first],
            airs=airs,
            premises=premises,
            now=now,
        )
        for group, outlook in zip(some, _Look(ahead).outlooks(), strict=True):
            for i in group:
                outlooks[i] = outlook
    return outlooks


def alike(
    states: LiquidStates, *, among: Iterable[int], apart: Sequence[Hashable]
) -> tuple[LiquidStates, list[list[int]]]:
    """Return records made coarse, and which of them have one future, so that it is computed once.

    Parameters
    ----------
    states
        Records of drums.
    among
        Which of them are looked ahead for.
    apart
        For each, what its future hangs on beside its record: product, place, share of its side.
    """
    coarse = _coarse(states)
    told = repack_fields(coarse[_TELLING])
    groups: dict[Hashable, list[int]] = defaultdict(list)
    for i in among:
        groups[told[i].tobytes(), apart[i]].append(i)
    return coarse, list(groups.values())


def _coarse(states: LiquidStates) -> LiquidStates:
    """Return the records rounded to far less than their band: drums of one stock become alike.

    To a sixteenth of a kelvin and half a kilogram, doubt and drive upward. It hangs on the drum
    alone, so the answer does not depend on what else is looked ahead for.
    """
    coarse = states.copy()
    # the mean and the shape about it by themselves: else each layer would round its own way
    mean = likely_mean(states)[:, None, None]
    shape = np.round((states["layers"] - mean) * 16.0)
    coarse["layers"] = (np.round(mean * 16.0) + shape) / 16.0
    coarse["ring"] = np.ceil(states["ring"] * 4.0) / 4.0
    coarse["doubt_k"] = np.ceil(states["doubt_k"] * 8.0) / 8.0
    coarse["mass_kg"] = np.maximum(np.round(states["mass_kg"] * 2.0) / 2.0, 0.5)
    return coarse


class _Look:
    """One look ahead over drums whose liquid is known."""

    def __init__(self, ahead: DaysAhead) -> None:
        self.ahead = ahead
        self.drums, self.step = ahead.drums, ahead.step
        self.rooms = [ahead.premises.warm_room_for(d.facts.place) for d in ahead.drums]

    def outlooks(self) -> list[DrumOutlook]:
        """Return every drum's outlook."""
        count = len(self.drums)
        here = [self.ahead.place_of(row) for row in range(count)]
        likely = self.ahead.prospect(range(count), here).course(hours=ALARM_HOURS, pessimist=False)
        # One march for all: each drum where it is, and once more moved now into its warm room.
        moved = {
            row: room
            for row, room in enumerate(self.rooms)
            if room is not None and room.id != here[row].id
        }
        slow = self.ahead.prospect([*range(count), *moved], [*here, *moved.values()]).course(
            hours=READY_HOURS, pessimist=True
        )
        in_room = {row: count + column for column, row in enumerate(moved)}
        seed = np.array([d.product.limits.seed_c for d in self.drums])
        seeds = first_below(likely.band, limit_c=seed)
        maybe = first_below(
            _cut(slow.band, times=ALARM_HOURS * PER_HOUR + 1, drums=count), limit_c=seed
        )
        cold = steps_below(likely.band, limit_c=seed) / PER_HOUR
        lowest = likely.band.bottom_low.min(axis=0)
        soon = likely.layers_c[:2].swapaxes(1, 2).copy()
        rows = [*range(count), *moved]
        ready = {output: self._ready(slow.band, rows, output=output) for output in OutputClass}
        starts = start_by(self.ahead, slow=slow, rooms=moved)
        return [
            DrumOutlook(
                ahead={
                    output: self._ahead_for(i, times=times, in_room=in_room.get(i))
                    for output, times in ready.items()
                },
                seeds_at=self._moment(int(seeds[i])),
                cold_hours=float(cold[i]),
                lowest_c=float(lowest[i]),
                maybe_seeds_at=self._moment(int(maybe[i])),
                soon_c=soon[:, i],
                **self._wanted(i, ready=ready, starts=starts),
            )
            for i in range(count)
        ]

    def _ready(self, band: Band, rows: Sequence[int], *, output: OutputClass) -> "_Ready":
        """Find when each column of a slow course is ready for an output class."""
        use = np.array([d.product.limits.use_band(output) for d in self.drums])[rows]
        low, high = use[:, 0], use[:, 1]
        return _Ready(
            use_band=use,
            slow=first_within(band, low_c=low, high_c=high),
            fast=first_perhaps_within(band, low_c=low, high_c=high),
            mixed=mixed_within(band, low_c=low, high_c=high),
        )

    def _moment(self, index: int) -> datetime | None:
        """Time of a forecast index; None for "never"."""
        return None if index < 0 else moment_of(self.step + index * STRIDE)

    def _ahead_for(self, i: int, *, times: "_Ready", in_room: int | None) -> Ahead:
        """Read one drum's columns: where it is, and in its warm room if it would be moved."""
        room = self.rooms[i]
        slow, fast = times.slow, times.fast
        return Ahead(
            ready_at=self._moment(int(slow[i])),
            ready_from=self._moment(int(fast[i])),
            mixed_at=self._moment(int(times.mixed[i])),
            warm_room=room.name if room is not None and in_room is not None else None,
            ready_in_warm_room_at=None if in_room is None else self._moment(int(slow[in_room])),
            ready_in_warm_room_from=None if in_room is None else self._moment(int(fast[in_room])),
            never_note=None if room is None else self._never_note(room, times.use_band[i]),
        )

    def _never_note(self, room: Place, use_band: Floats) -> str | None:
        """Say that a warm room can never bring a product into its use band, and what would."""
        if room.set_point_c is None:
            return None
        low, high = float(use_band[0]), float(use_band[1])
        air = self.ahead.airs.of(room)
        off_k = 0.5 * float(air.high[-1] - air.low[-1])
        margin = off_k + REST_K + air.error_k
        if low + margin <= room.set_point_c <= high - margin:
            return None
        if low + margin > high - margin:
            return f"{room.name} cannot be held closely enough for this product's use band."
        needed = low + margin if room.set_point_c < low + margin else high - margin
        return (
            f"{room.name} at {temperature(room.set_point_c)} can never bring this product into "
            f"its use band; a set point of {temperature(needed)} would."
        )

    def _wanted(
        self,
        i: int,
        *,
        ready: Mapping[OutputClass, "_Ready"],
        starts: Mapping[int, int],
    ) -> dict[str, Any]:
        drum = self.drums[i]
        wanted = drum.facts.wanted_at
        if wanted is None or wanted <= self.ahead.now:
            return {"wanted_at": wanted}
        room = self.rooms[i]
        return {
            "wanted_at": wanted,
            "slow_ready_at": self._moment(int(ready[self.ahead.output(i)].slow[i])),
            "start_by": self._moment(starts.get(i, -1)),
            "warm_room_place": room.id if room is not None else None,
        }


@dataclass(frozen=True)
class _Ready:
    """Forecast indices at which columns of a slow course are ready; −1 for never."""

    use_band: Floats
    slow: NDArray[np.intp]
    fast: NDArray[np.intp]
    mixed: NDArray[np.intp]


def _cut(band: Band, *, times: int, drums: int) -> Band:
    return Band(*(values[:times, :drums] for values in band.__dict__.values()))
