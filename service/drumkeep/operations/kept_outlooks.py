"""Outlooks that are kept for their quarter of an hour, while all that they hang on stays so.

Times in an outlook are a quarter of an hour apart, and drums are computed each five minutes. One
process keeps what it looked ahead to in its memory: nothing is stored, and a new process looks
ahead for all. Whatever a comparison here might miss is made up for within the quarter.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import isnan
from typing import Final, Protocol

import numpy as np
from numpy.lib.recfunctions import repack_fields
from numpy.typing import NDArray

from drumkeep.domain.air_ahead import PER_HOUR, STRIDE, AirAhead
from drumkeep.domain.film import film_at
from drumkeep.domain.grid import moment_of
from drumkeep.domain.liquid_state import LiquidStates
from drumkeep.operations.days_ahead import AirsAhead, Subject
from drumkeep.operations.ground import Premises
from drumkeep.operations.outlooks import DrumOutlook, look_ahead
from drumkeep.storage.tables.catalogue import Place
from drumkeep.thermal.drive import drive_of

Floats = NDArray[np.float64]

LIQUID_K: Final = 0.125
"""A layer may lie so far from where the outlook has it by now. Half of that is its rounding."""

AIR_K: Final = 0.25
"""So much may other air to come move liquid that follows in ``FOLLOWS_H``; a floor differ by it."""

FOLLOWS_H: Final = 4.0
"""Time constant of a quarter of a drum in wind, which follows the air sooner than others do (own
arithmetic: 60 kg of 1.8 kJ/(kg K), 0.35 m² of side at 15 W/(m² K) and two ends at 3)."""

DRIVE_K: Final = 1.0
"""The band's model error is a twentieth of the drive: 0.05 K."""

DOUBT_K: Final = 0.25
MASS_KG: Final = 0.5

_ERROR_K: Final = 0.05
_UNLIKE_K: Final = 1000.0
"""Between air that is known and air that is not."""

_HEATING: Final = [
    "heat_device",
    "heat_w",
    "heat_until",
    "heat_height_m",
    "thermostat_c",
    "heat_blanket_r",
]


class LookAhead(Protocol):
    """What looks ahead for drums (:func:`operations.outlooks.look_ahead`)."""

    def __call__(
        self,
        drums: Sequence[Subject],
        *,
        states: LiquidStates,
        airs: AirsAhead,
        premises: Premises,
        now: datetime,
    ) -> list[DrumOutlook]:
        """Return the outlook of each, in the order given."""


@dataclass(frozen=True)
class _Kept:
    """An outlook of a grid step, and what it hangs on.

    ``asked`` compares equal while people and settings ask the same; ``airs`` is the air to come
    where the drum is and in its warm room, ``floors_c`` their floors; ``record`` its record then.
    """

    outlook: DrumOutlook
    step: int
    asked: tuple[object, ...]
    airs: tuple[AirAhead, ...]
    floors_c: tuple[float, ...]
    record: LiquidStates


class KeptOutlooks:
    """Looks ahead for drums, and for a third of them at each step where nothing else changed."""

    def __init__(self) -> None:
        self._kept: dict[int, _Kept] = {}
        self._step = 0

    def look_ahead(
        self,
        drums: Sequence[Subject],
        *,
        states: LiquidStates,
        airs: AirsAhead,
        premises: Premises,
        now: datetime,
    ) -> list[DrumOutlook]:
        """Return the outlook of each drum, in the order given: a kept one, or a new one."""
        self._forget(step=airs.step)
        heating = repack_fields(states[_HEATING])
        now_asked = [
            _asked(
                drum,
                record=states[i : i + 1],
                heating=heating[i].tobytes(),
                airs=airs,
                premises=premises,
                now=now,
            )
            for i, drum in enumerate(drums)
        ]
        found = self._still(drums, now_asked, step=airs.step)
        others = [i for i in range(len(drums)) if i not in found]
        looked = look_ahead(
            [drums[i] for i in others],
            states=states[others],
            airs=airs,
            premises=premises,
            now=now,
        )
        for i, outlook in zip(others, looked, strict=True):
            found[i] = outlook
            if outlook.soon_c is None or _starts_now(outlook, step=airs.step):
                self._kept.pop(drums[i].drum_id, None)
            else:
                self._kept[drums[i].drum_id] = replace(now_asked[i], outlook=outlook)
        return [found[i] for i in range(len(drums))]

    def _forget(self, *, step: int) -> None:
        """Let go of what is over, also of drums that are gone and of a time that comes again."""
        if step != self._step:
            self._step = step
            self._kept = {
                drum: kept for drum, kept in self._kept.items() if 0 <= step - kept.step < STRIDE
            }

    def _still(
        self, drums: Sequence[Subject], now_asked: Sequence[_Kept], *, step: int
    ) -> dict[int, DrumOutlook]:
        """Return the kept outlooks that hold, by the row of their drum.

        Places take turns, so that in a steady company each round looks ahead for a third.
        """
        pairs = [
            (i, kept, now_asked[i])
            for i, drum in enumerate(drums)
            if (kept := self._kept.get(drum.drum_id)) is not None
            and (kept.step == step or drum.facts.place % STRIDE != step % STRIDE)
            and kept.asked == now_asked[i].asked
        ]
        if not pairs:
            return {}
        holds = _same_liquid(pairs, step=step) & _same_air(pairs, step=step)
        return {
            i: _brought_on(kept.outlook, begun=kept.step, step=step)
            for (i, kept, _), so in zip(pairs, holds, strict=True)
            if so
        }


_Pair = tuple[int, _Kept, _Kept]


def _asked(
    drum: Subject,
    *,
    record: LiquidStates,
    heating: bytes,
    airs: AirsAhead,
    premises: Premises,
    now: datetime,
) -> _Kept:
    """Return what a drum's outlook hangs on now, without the outlook."""
    facts = drum.facts
    here = premises.places[facts.place]
    room = premises.warm_room_for(facts.place)
    spots = [here] if room is None or room.id == here.id else [here, room]
    heats = [airs.places[spot.id] for spot in spots]
    return _Kept(
        outlook=DrumOutlook(),
        step=airs.step,
        asked=(
            facts.wanted_at,
            facts.wanted_at is not None and facts.wanted_at > now,
            facts.wanted_output or premises.sites[here.site_id].output_class,
            drum.share,
            heating,
            *(_manner(spot, airs=airs) for spot in spots),
            drum.product,
        ),
        airs=tuple(airs.of(spot) for spot in spots),
        floors_c=tuple(
            np.nan if heat.floor is None else float(heat.floor.likely[-1]) for heat in heats
        ),
        record=record,
    )


def _manner(place: Place, *, airs: AirsAhead) -> tuple[object, ...]:
    """Return what a place is to liquid beside its air: it compares equal while that stays so."""
    heat = airs.places[place.id]
    return (
        place.id,
        place.name,
        place.set_point_c,
        heat.setting,
        film_at(heat.film, step=airs.step),
        heat.sun is None,
        heat.sky is None,
        heat.absorptance,
    )


def _same_liquid(pairs: Sequence[_Pair], *, step: int) -> NDArray[np.bool_]:
    """Tell for which drums the liquid is where their outlook has it by now."""
    then = np.concatenate([kept.record for _, kept, _ in pairs])
    record = np.concatenate([asked.record for *_, asked in pairs])
    soon = np.stack(
        [kept.outlook.soon_c for _, kept, _ in pairs if kept.outlook.soon_c is not None]
    )
    passed = _passed(pairs, step=step)[:, None, None]
    expected = soon[:, 0] + passed * (soon[:, 1] - soon[:, 0])
    off = np.abs(record["layers"] - expected).max(axis=(1, 2))
    faded = then["doubt_k"] - record["doubt_k"]
    return np.asarray(
        (record["alive"] == then["alive"])
        & (off <= LIQUID_K)
        & (np.abs(drive_of(record["ring"]) - drive_of(then["ring"])) <= DRIVE_K)
        & (faded >= 0.0)
        & (faded <= DOUBT_K)
        & (np.abs(record["mass_kg"] - then["mass_kg"]) <= MASS_KG),
        dtype=np.bool_,
    )


def _same_air(pairs: Sequence[_Pair], *, step: int) -> NDArray[np.bool_]:
    """Tell for which drums the air to come is what their outlook took it for."""
    compared: dict[tuple[int, int], tuple[AirAhead, AirAhead, int]] = {}
    for _, kept, asked in pairs:
        for then, now in zip(kept.airs, asked.airs, strict=True):
            compared[id(then), id(now)] = then, now, step - kept.step
    moved = dict(zip(compared, _moved_k(list(compared.values())), strict=True))
    return np.array(
        [
            all(
                moved[id(then), id(now)] <= AIR_K
                for then, now in zip(kept.airs, asked.airs, strict=True)
            )
            and all(map(_near, kept.floors_c, asked.floors_c))
            for _, kept, asked in pairs
        ],
        dtype=np.bool_,
    )


def _near(then_c: float, now_c: float) -> bool:
    """Tell whether a floor is as it was; NaN where it is not measured."""
    return abs(now_c - then_c) <= AIR_K or (isnan(then_c) and isnan(now_c))


def _moved_k(airs: Sequence[tuple[AirAhead, AirAhead, int]]) -> Floats:
    """Return by how much liquid would differ at most under other air, K.

    Parameters
    ----------
    airs
        The air to come as it was, as it is, and the grid steps between.
    """

    def each(of: int) -> Floats:
        names = ("likely", "low", "high")
        return np.stack([[getattr(pair[of], name) for name in names] for pair in airs])

    then, now = each(0), each(1)
    passed = np.array([steps / STRIDE for *_, steps in airs])[:, None, None]
    by_now = then[..., :-1] + passed * np.diff(then)
    apart = np.where(
        np.isnan(by_now) & np.isnan(now[..., :-1]),
        0.0,
        np.nan_to_num(now[..., :-1] - by_now, nan=_UNLIKE_K),
    )
    liquid = np.zeros(apart.shape[:-1])
    most = np.zeros(apart.shape[:-1])
    for k in range(apart.shape[-1]):
        liquid += (apart[..., k] - liquid) / (FOLLOWS_H * PER_HOUR)
        most = np.maximum(most, np.abs(liquid))
    errors = np.array([abs(was.error_k - is_.error_k) for was, is_, _ in airs])
    return np.where(errors <= _ERROR_K, most.max(axis=-1), _UNLIKE_K)


def _passed(pairs: Sequence[_Pair], *, step: int) -> Floats:
    """Return the share of a forecast step since each outlook was made."""
    return np.array([(step - kept.step) / STRIDE for _, kept, _ in pairs])


def _starts_now(outlook: DrumOutlook, *, step: int) -> bool:
    """Tell whether a drum must go into its warm room now: soon that is too late, or never."""
    return outlook.start_by is not None and outlook.start_by <= moment_of(step)


def _brought_on(outlook: DrumOutlook, *, begun: int, step: int) -> DrumOutlook:
    """Say "now" for what was so when it was looked: it still is. All other times are to come."""
    then, now = moment_of(begun), moment_of(step)

    def on(at: datetime | None) -> datetime | None:
        return now if at == then else at

    return replace(
        outlook,
        ahead={
            output: replace(
                ahead,
                ready_at=on(ahead.ready_at),
                ready_from=on(ahead.ready_from),
                mixed_at=on(ahead.mixed_at),
                ready_in_warm_room_at=on(ahead.ready_in_warm_room_at),
                ready_in_warm_room_from=on(ahead.ready_in_warm_room_from),
            )
            for output, ahead in outlook.ahead.items()
        },
        seeds_at=on(outlook.seeds_at),
        maybe_seeds_at=on(outlook.maybe_seeds_at),
        slow_ready_at=on(outlook.slow_ready_at),
    )
