"""What lies ahead of drums where they are, in their warm room, and for when they are wanted."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final, Protocol

import numpy as np
from numpy.lib.recfunctions import repack_fields
from numpy.typing import NDArray

from drumkeep.domain.air_ahead import PER_HOUR, STRIDE, AirAhead, air_ahead
from drumkeep.domain.alarm_rules.plans import READY_BEFORE
from drumkeep.domain.drums import DrumFacts
from drumkeep.domain.grid import moment_of
from drumkeep.domain.liquid_state import LiquidStates, likely_mean
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.outlook import (
    ALARM_HOURS,
    READY_HOURS,
    STEP_S,
    Prospect,
    first_below,
    first_perhaps_within,
    first_within,
    mixed_within,
    steps_below,
)
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import OutputClass, Product
from drumkeep.domain.readiness import Ahead
from drumkeep.domain.wording import temperature
from drumkeep.operations.ground import Premises
from drumkeep.storage.tables.catalogue import Place
from drumkeep.thermal.band import REST_K, Band
from drumkeep.thermal.march import Course

Floats = NDArray[np.float64]

AT_ONCE: Final = 250
"""Drums in one march: bounds its memory to some 100 MB."""

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


class Subject(Protocol):
    """A drum to look ahead for."""

    @property
    def product(self) -> Product:
        """Its product."""

    @property
    def facts(self) -> DrumFacts:
        """What people recorded of it."""

    @property
    def share(self) -> float:
        """Share of its side that sees the air."""


@dataclass(frozen=True)
class DrumOutlook:
    """One drum's days ahead.

    ``seeds_at`` and ``cold_hours`` look 12 h ahead under the likely air; the rest is the slow case.
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
    step: int,
    places: Mapping[int, PlaceHeat],
    premises: Premises,
    now: datetime,
) -> list[DrumOutlook]:
    """Look ahead for drums, in the order given; those not known or gone get an empty outlook."""
    live = [
        i
        for i in range(len(drums))
        if states["alive"][i]
        and np.isfinite(states["layers"][i]).all()
        and states["mass_kg"][i] > 0
    ]
    # Drums that are alike and stand together have one future: it is computed once.
    coarse = _coarse(states)
    alike: dict[object, list[int]] = defaultdict(list)
    told = repack_fields(coarse[_TELLING])
    for i in live:
        facts = drums[i].facts
        wish = (facts.wanted_at, facts.wanted_output)
        own = (id(drums[i].product), drums[i].share, facts.place, *wish)
        alike[told[i].tobytes(), own].append(i)
    outlooks = [DrumOutlook() for _ in drums]
    groups = list(alike.values())
    for some in (groups[n : n + AT_ONCE] for n in range(0, len(groups), AT_ONCE)):
        first = [group[0] for group in some]
        look = _Look([drums[i] for i in first], coarse[first], step, places, premises, now)
        for group, outlook in zip(some, look.outlooks(), strict=True):
            for i in group:
                outlooks[i] = outlook
    return outlooks


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

    def __init__(  # noqa: PLR0917 - the private half of look_ahead
        self,
        drums: Sequence[Subject],
        states: LiquidStates,
        step: int,
        places: Mapping[int, PlaceHeat],
        premises: Premises,
        now: datetime,
    ) -> None:
        self.drums, self.states, self.step = drums, states, step
        self.places, self.premises, self.now = places, premises, now
        self.share = np.array([d.share for d in drums])
        self.rooms = [premises.warm_room_for(d.facts.place) for d in drums]
        self._ahead: dict[int, AirAhead] = {}

    def outlooks(self) -> list[DrumOutlook]:
        """Return every drum's outlook."""
        count = len(self.drums)
        here = [self.premises.places[d.facts.place] for d in self.drums]
        likely = self._prospect(range(count), here).course(hours=ALARM_HOURS, pessimist=False)
        # One march for all: each drum where it is, and once more moved now into its warm room.
        moved = {
            row: room
            for row, room in enumerate(self.rooms)
            if room is not None and room.id != here[row].id
        }
        slow = self._prospect([*range(count), *moved], [*here, *moved.values()]).course(
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
        rows = [*range(count), *moved]
        ready = {output: self._ready(slow.band, rows, output=output) for output in OutputClass}
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
                **self._wanted(i, slow=slow, ready=ready),
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

    def _prospect(
        self,
        rows: Sequence[int] | range,
        where: Sequence[Place],
        states: LiquidStates | None = None,
        ahead: Sequence[AirAhead] | None = None,
        delay: NDArray[np.intp] | int = 0,
    ) -> Prospect:
        return Prospect(
            states=self.states[list(rows)] if states is None else states,
            products=[self.drums[i].product for i in rows],
            heats=[self.places[p.id] for p in where],
            ahead=[self._air(p) for p in where] if ahead is None else ahead,
            share=self.share[list(rows)],
            step=self.step,
            delay=delay,
        )

    def _air(self, place: Place) -> AirAhead:
        if place.id not in self._ahead:
            self._ahead[place.id] = air_ahead(
                kind=PlaceKind(place.kind),
                set_point_c=place.set_point_c,
                air=self.places[place.id].air,
                clues=self.places[place.id].clues,
                now_step=self.step,
                hours=READY_HOURS,
            )
        return self._ahead[place.id]

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
        air = self._air(room)
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
        self, i: int, *, slow: Course, ready: Mapping[OutputClass, "_Ready"]
    ) -> dict[str, Any]:
        drum = self.drums[i]
        wanted = drum.facts.wanted_at
        if wanted is None or wanted <= self.now:
            return {"wanted_at": wanted}
        site = self.premises.sites[self.premises.places[drum.facts.place].site_id]
        output = drum.facts.wanted_output or OutputClass(site.output_class)
        low, high = drum.product.limits.use_band(output)
        room = self.rooms[i]
        start_by = None
        if room is not None and room.id != drum.facts.place:
            start_by = self._start_by(i, room=room, wanted=wanted, slow=slow, band=(low, high))
        return {
            "wanted_at": wanted,
            "slow_ready_at": self._moment(int(ready[output].slow[i])),
            "start_by": start_by,
            "warm_room_place": room.id if room is not None else None,
        }

    def _start_by(
        self,
        i: int,
        *,
        room: Place,
        wanted: datetime,
        slow: Course,
        band: tuple[float, float],
    ) -> datetime | None:
        """Latest time to bring it into the warm room and have it ready before it is wanted.

        Every sixth hour until then is tried at once, each as a drum of its own, then the hours from
        the last that would do, then its quarters. Where a later start would do again after one that
        does not, the earlier is told.
        """
        present = moment_of(self.step)
        last = int((wanted - READY_BEFORE - present) / timedelta(hours=1) * PER_HOUR)
        last = min(last, READY_HOURS * PER_HOUR)
        if last < 0:
            return None

        found, end = 0, last + 1
        for stride in (6 * PER_HOUR, PER_HOUR, 1):
            starts = np.arange(found, end, stride)
            in_time = self._in_time(i, room=room, slow=slow, band=band, starts=starts, last=last)
            if not in_time.any():
                return None
            found = int(starts[in_time].max())
            end = min(found + stride, last + 1)
        return self._moment(found)

    def _in_time(
        self,
        i: int,
        *,
        room: Place,
        slow: Course,
        band: tuple[float, float],
        starts: NDArray[np.intp],
        last: int,
    ) -> NDArray[np.bool_]:
        """Tell which starts (forecast steps from now) have the drum ready by the step ``last``."""
        states = np.repeat(self.states[i : i + 1], len(starts))
        states["layers"] = slow.layers_c[starts, :, i]
        here = self._prospect([i], [self.premises.places[self.drums[i].facts.place]])
        states["doubt_k"] = here.doubt_after(np.asarray(starts * STEP_S, dtype=np.float64))[:, 0]
        course = self._prospect(
            [i] * len(starts),
            [room] * len(starts),
            states=states,
            ahead=[self._air(room).later(int(start)) for start in starts],
            delay=starts,
        ).course(hours=min((last - int(starts[0])) // PER_HOUR + 1, READY_HOURS), pessimist=True)
        low, high = np.full(len(starts), band[0]), np.full(len(starts), band[1])
        ready = first_within(course.band, low_c=low, high_c=high)
        return np.asarray((ready >= 0) & (starts + ready <= last), dtype=np.bool_)


@dataclass(frozen=True)
class _Ready:
    """Forecast indices at which columns of a slow course are ready; −1 for never."""

    use_band: Floats
    slow: NDArray[np.intp]
    fast: NDArray[np.intp]
    mixed: NDArray[np.intp]


def _cut(band: Band, *, times: int, drums: int) -> Band:
    return Band(*(values[:times, :drums] for values in band.__dict__.values()))
