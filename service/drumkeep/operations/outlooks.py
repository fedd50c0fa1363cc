"""What lies ahead of drums where they are, in their warm room, and for when they are wanted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.alarm_rules.plans import READY_BEFORE
from drumkeep.domain.drums import DrumFacts
from drumkeep.domain.grid import moment_of
from drumkeep.domain.liquid_state import LiquidStates
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.outlook import (
    ALARM_HOURS,
    PER_HOUR,
    READY_HOURS,
    STRIDE,
    WARM_ROOM_K,
    AirAhead,
    Prospect,
    air_ahead,
    first_below,
    first_within,
    mixed_within,
    steps_below,
)
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import OutputClass, Product
from drumkeep.domain.readiness import Ahead
from drumkeep.domain.wording import temperature
from drumkeep.operations.surroundings import Ground
from drumkeep.storage.tables.catalogue import Place
from drumkeep.thermal.band import REST_K, Band
from drumkeep.thermal.march import Course

Floats = NDArray[np.float64]


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
    ground: Ground,
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
    outlooks = [DrumOutlook() for _ in drums]
    if not live:
        return outlooks
    look = _Look([drums[i] for i in live], states[live], step, places, ground, now)
    for i, outlook in zip(live, look.outlooks(), strict=True):
        outlooks[i] = outlook
    return outlooks


class _Look:
    """One look ahead over drums whose liquid is known."""

    def __init__(  # noqa: PLR0917 - the private half of look_ahead
        self,
        drums: Sequence[Subject],
        states: LiquidStates,
        step: int,
        places: Mapping[int, PlaceHeat],
        ground: Ground,
        now: datetime,
    ) -> None:
        self.drums, self.states, self.step = drums, states, step
        self.places, self.ground, self.now = places, ground, now
        self.share = np.array([d.share for d in drums])
        self.rooms = [ground.warm_room_for(d.facts.place) for d in drums]
        self._ahead: dict[int, AirAhead] = {}

    def outlooks(self) -> list[DrumOutlook]:
        """Return every drum's outlook."""
        count = len(self.drums)
        here = [self.ground.places[d.facts.place] for d in self.drums]
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
        return [
            DrumOutlook(
                ahead={
                    output: self._ahead_for(i, output=output, slow=slow, in_room=in_room)
                    for output in OutputClass
                },
                seeds_at=self._moment(int(seeds[i])),
                cold_hours=float(cold[i]),
                lowest_c=float(lowest[i]),
                maybe_seeds_at=self._moment(int(maybe[i])),
                **self._wanted(i, slow=slow),
            )
            for i in range(count)
        ]

    def _prospect(
        self,
        rows: Sequence[int] | range,
        where: Sequence[Place],
        states: LiquidStates | None = None,
    ) -> Prospect:
        return Prospect(
            states=self.states[list(rows)] if states is None else states,
            products=[self.drums[i].product for i in rows],
            films=[self.places[p.id].films for p in where],
            ahead=[self._air(p) for p in where],
            share=self.share[list(rows)],
        )

    def _air(self, place: Place) -> AirAhead:
        if place.id not in self._ahead:
            self._ahead[place.id] = air_ahead(
                kind=PlaceKind(place.kind),
                set_point_c=place.set_point_c,
                air=self.places[place.id].air,
                now_step=self.step,
                hours=READY_HOURS,
            )
        return self._ahead[place.id]

    def _moment(self, index: int) -> datetime | None:
        """Time of a forecast index; None for "never"."""
        return None if index < 0 else moment_of(self.step + index * STRIDE)

    def _ahead_for(
        self,
        i: int,
        *,
        output: OutputClass,
        slow: Course,
        in_room: Mapping[int, int],
    ) -> Ahead:
        """Read one drum's columns of the slow course: where it is, and in its warm room if any."""
        low, high = self.drums[i].product.limits.use_band(output)
        room = self.rooms[i]
        moved = in_room.get(i)
        in_room_at = None
        if moved is not None:
            in_room_at = self._moment(_within(slow.band, moved, low, high))
        return Ahead(
            ready_at=self._moment(_within(slow.band, i, low, high)),
            mixed_at=self._moment(_mixed(slow.band, i, low, high)),
            warm_room=room.name if room is not None and moved is not None else None,
            ready_in_warm_room_at=in_room_at,
            never_note=_never_note(room, low=low, high=high, error_k=self._room_error(room)),
        )

    def _room_error(self, room: Place | None) -> float:
        return 0.0 if room is None else self.places[room.id].air.error_at(self.step)

    def _wanted(self, i: int, *, slow: Course) -> dict[str, Any]:
        drum = self.drums[i]
        wanted = drum.facts.wanted_at
        if wanted is None or wanted <= self.now:
            return {"wanted_at": wanted}
        site = self.ground.sites[self.ground.places[drum.facts.place].site_id]
        output = drum.facts.wanted_output or OutputClass(site.output_class)
        low, high = drum.product.limits.use_band(output)
        room = self.rooms[i]
        slow_ready = self._moment(_within(slow.band, i, low, high))
        start_by = None
        if room is not None and room.id != drum.facts.place:
            start_by = self._start_by(i, room=room, wanted=wanted, slow=slow, band=(low, high))
        return {
            "wanted_at": wanted,
            "slow_ready_at": slow_ready,
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

        Every hour until then is tried at once, each as a drum of its own, and then the quarters of
        the last hour that would do.
        """
        present = moment_of(self.step)
        last = int((wanted - READY_BEFORE - present) / timedelta(hours=1) * PER_HOUR)
        last = min(last, READY_HOURS * PER_HOUR)
        if last < 0:
            return None

        def latest(starts: NDArray[np.intp]) -> int | None:
            in_time = self._in_time(i, room=room, slow=slow, band=band, starts=starts, last=last)
            return int(starts[in_time].max()) if in_time.any() else None

        hour = latest(np.arange(0, last + 1, PER_HOUR))
        if hour is None:
            return None
        quarters = np.arange(hour, min(hour + PER_HOUR, last + 1))
        return self._moment(latest(quarters) or hour)

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
        rows = [i] * len(starts)
        course = self._prospect(rows, [room] * len(starts), states=states).course(
            hours=min(last // PER_HOUR + 1, READY_HOURS), pessimist=True
        )
        low, high = np.full(len(starts), band[0]), np.full(len(starts), band[1])
        ready = first_within(course.band, low_c=low, high_c=high)
        return np.asarray((ready >= 0) & (starts + ready <= last), dtype=np.bool_)


def _cut(band: Band, *, times: int, drums: int) -> Band:
    return Band(*(values[:times, :drums] for values in band.__dict__.values()))


def _column(band: Band, i: int) -> Band:
    return Band(*(values[:, i : i + 1] for values in band.__dict__.values()))


def _within(band: Band, i: int, low: float, high: float) -> int:
    return int(first_within(_column(band, i), low_c=np.array([low]), high_c=np.array([high]))[0])


def _mixed(band: Band, i: int, low: float, high: float) -> int:
    return int(mixed_within(_column(band, i), low_c=np.array([low]), high_c=np.array([high]))[0])


def _never_note(room: Place | None, *, low: float, high: float, error_k: float) -> str | None:
    """Say that a warm room can never bring a product into its use band, and what would."""
    if room is None or room.set_point_c is None:
        return None
    margin = WARM_ROOM_K + REST_K + error_k
    if low + margin <= room.set_point_c <= high - margin:
        return None
    if low + margin > high - margin:
        return f"{room.name} cannot be held closely enough for this product's use band."
    needed = low + margin if room.set_point_c < low + margin else high - margin
    return (
        f"{room.name} at {temperature(room.set_point_c)} can never bring this product into its "
        f"use band; a set point of {temperature(needed)} would."
    )
