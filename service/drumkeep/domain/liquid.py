"""Advance the liquid of many drums through their past, on the grid.

A drum's past is a function of its events, the readings of the places it was in, and its product:
``advance_drums`` is that function. It starts each drum from a checkpoint, or from its receipt.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any, Final
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from drumkeep.domain.air import NO_SENSOR_K
from drumkeep.domain.drum_past import (
    Advanced,
    Checkpoint,
    DrumPast,
    Measurement,
    first_measurement,
)
from drumkeep.domain.events import MEASURING, DrumEvent, EventKind
from drumkeep.domain.film import film_at
from drumkeep.domain.grid import STEP_SECONDS, STEPS_PER_HOUR, step_at
from drumkeep.domain.liquid_age import begin_age, grow_older
from drumkeep.domain.liquid_agent import agent_inputs, lose_open
from drumkeep.domain.liquid_beside import beside_of
from drumkeep.domain.liquid_events import Moment, apply_event
from drumkeep.domain.liquid_films import Films
from drumkeep.domain.liquid_heaters import blanket_r, heat_w
from drumkeep.domain.liquid_measured import take
from drumkeep.domain.liquid_memory import remember
from drumkeep.domain.liquid_observed import Beside, Observation, Reading, observe, reading_of
from drumkeep.domain.liquid_pours import Pours, poured_between
from drumkeep.domain.liquid_pressure import gauge_kpa, note_overpressure, pressure_inputs
from drumkeep.domain.liquid_start import begin_measured
from drumkeep.domain.liquid_state import (
    UNSUPPORTED_K,
    LiquidStates,
    band_at,
    empty_states,
    likely_mean,
    sets_first,
)
from drumkeep.domain.liquid_surroundings import (
    PlaceHeat,
    Weather,
    doubt_seconds,
    liquid_of,
    memory_limits,
)
from drumkeep.domain.straps import strap_readings
from drumkeep.thermal.constants import STANDARD_PRESSURE_KPA
from drumkeep.thermal.drive import record_drive
from drumkeep.thermal.parameter_sets import LIKELY, NAMED_SETTING, apart, spread_out
from drumkeep.thermal.stratified import Liquid, advance

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

CHECKPOINT_STEPS: Final = 6
"""A checkpoint every half hour."""

_START_SPAN_K: Final = 30.0
_START_TRIALS: Final = 13


def advance_drums(
    pasts: Sequence[DrumPast], *, places: Mapping[int, PlaceHeat], until: int
) -> Advanced:
    """Advance every drum from its start to a step.

    Parameters
    ----------
    pasts
        The drums, each with its own start.
    places
        Every place that occurs in them, with air from the earliest start to ``until``.
    until
        Grid step, inclusive.

    Returns
    -------
    Advanced
        Records in the order of ``pasts``, and a checkpoint for every half hour on the way.
    """
    return _Run(pasts, places=places, until=until).advance()


class _Run:
    """One call of ``advance_drums``: the arrays that stay put while time moves."""

    def __init__(
        self, pasts: Sequence[DrumPast], *, places: Mapping[int, PlaceHeat], until: int
    ) -> None:
        self.pasts = pasts
        self.until = until
        self.first = min((past.start for past in pasts), default=until)
        self.place_ids = list(places)
        self.place_row = {place: row for row, place in enumerate(self.place_ids)}
        self.heats = [places[place] for place in self.place_ids]
        self.air = Weather(self.heats, first=self.first, last=until)
        self.films = Films(self.heats, first=self.first, last=until)
        self.states = empty_states(len(pasts))
        self.limits = memory_limits([past.product for past in pasts])
        self.pressure = pressure_inputs([past.product for past in pasts])
        self.agent = agent_inputs([past.product for past in pasts])
        self.pours = Pours()
        self.done: set[UUID] = set()
        self.starting: dict[int, list[int]] = defaultdict(list)
        self.happening: dict[int, list[tuple[int, DrumEvent]]] = defaultdict(list)
        self.strapped: dict[int, list[tuple[int, Reading]]] = defaultdict(list)
        self.measurements: list[Measurement] = []
        self.film_steps = {film.step for heat in self.heats for film in heat.film}
        for row, past in enumerate(pasts):
            self.starting[past.start].append(row)
            if past.state is None:  # its lot has an age before it is here
                record, life, product = self.states[row : row + 1], past.life, past.product
                begin_age(record, life=life, product=product, receipt={}, step=past.start)
            for event in past.events:
                step = max(step_at(event.at), past.start)
                if step <= until:
                    self.happening[step].append((row, event))
            for step, reading in strap_readings(past.straps, first=past.start, last=until):
                self.strapped[step].append((row, reading))
        self.rows: Indices = np.empty(0, dtype=np.intp)
        self.at: Indices = np.empty(0, dtype=np.intp)
        self.liquid: Liquid
        self.share: Floats
        self.film_factor: Floats
        self.film_range: Floats
        self.fade: Floats

    def advance(self) -> Advanced:
        """March from the earliest start to the end."""
        checkpoints: list[Checkpoint] = []
        begun: list[int] = []
        for step in range(self.first, self.until + 1):
            changed = step in self.film_steps
            for row in self.starting.get(step, ()):
                begun.append(row)
                state = self.pasts[row].state
                if state is not None:
                    self.states[row] = state[0]
                changed = True
            if step % CHECKPOINT_STEPS == 0 and begun:
                drums = np.array(begun, dtype=np.intp)
                drums = drums[self.states["alive"][drums]]
                if len(drums):
                    checkpoints.append(Checkpoint(step, drums, self.states[drums].copy()))
            for row, event in sorted(self.happening.get(step, ()), key=_in_order):
                self._happen(row, event, step=step)
                changed = True
            for row, reading in self.strapped.get(step, ()):
                self._measure(row, reading, event=None, step=step)
                changed = True
            if changed:
                self._settle(step)
            if step < self.until and len(self.rows):
                self._step(step)
        return Advanced(
            step=self.until,
            states=self.states,
            checkpoints=checkpoints,
            measurements=self.measurements,
        )

    def _happen(self, row: int, event: DrumEvent, *, step: int) -> None:
        self.done.add(event.id)
        if event.kind in MEASURING:
            self._measure(row, reading_of(event), event=event.id, step=step)
            return
        record = self.states[row : row + 1]
        past = self.pasts[row]
        received = event.kind is EventKind.RECEIVED
        heat = self._heat_of(_place_id(event.data)) if received else self._heat(record)
        moment = Moment(
            step=step,
            air_c=float(heat.air.window(first=step, last=step)[0]) if heat else float("nan"),
            sensor_error_k=heat.air.error_at(step) if heat else NO_SENSOR_K,
            start_air=past.start_air,
            find_place=_place_id,
            site_kpa=heat.site_kpa if heat else STANDARD_PRESSURE_KPA,
            life=past.life,
            parcel=self.pours.parcel(record, event=event, product=past.product, life=past.life),
        )
        apply_event(record, event=event, product=past.product, moment=moment)
        if received:
            self._replace_start(row, event)

    def _heat(self, record: LiquidStates) -> PlaceHeat | None:
        return self._heat_of(int(record["place"][0]))

    def _heat_of(self, place: int) -> PlaceHeat | None:
        return self.heats[self.place_row[place]] if place in self.place_row else None

    def _measure(self, row: int, reading: Reading, *, event: UUID | None, step: int) -> None:
        record = self.states[row : row + 1]
        if not record["alive"][0] or record["mass_kg"][0] <= 0.0:
            return
        beside = self._beside(self.pasts[row], record, reading=reading, step=step)
        taken = take(reading, states=record, beside=beside)
        self.measurements.append(Measurement(row, event, reading, taken))

    def _replace_start(self, row: int, receipt: DrumEvent) -> None:
        """Let the first measurement within a day of an unmeasured receipt set the start."""
        past, record = self.pasts[row], self.states[row : row + 1]
        first = first_measurement(past.events, receipt=receipt)
        if first is None or record["resolved"][0] or not np.isfinite(record["layers"]).all():
            return
        end = step_at(first.at)
        if end > self.until:
            return
        trials = _start_trials(past, receipt=receipt, first=first)
        reached = advance_drums(
            [*trials, *self._donors(row, step=step_at(receipt.at))],
            places=dict(zip(self.place_ids, self.heats, strict=True)),
            until=end,
        ).states[: len(trials)]
        reading = reading_of(first)
        seen = [
            self._observed(past, reached[i : i + 1], reading=reading, step=end)
            for i in range(len(trials))
        ]
        then = np.array(
            [float(o.of(c)) for o, c in zip(seen, reached["layers"][:, LIKELY], strict=True)]
        )
        starts = np.array([float(trial.events[0].data["liquid_c"]) for trial in trials])
        likely = float(np.interp(reading.c, then, starts))
        slope = (starts[-1] - starts[0]) / max(float(then[-1] - then[0]), 1e-6)
        nearest = int(np.abs(then - reading.c).argmin())
        spread = seen[nearest].sigma_k * slope
        if spread < float(record["doubt_k"][0]) / 2.0:
            # else the drum has forgotten its start by then, and the air it came from says more
            begin_measured(record, likely=likely, spread=spread)

    def _observed(
        self, past: DrumPast, record: LiquidStates, *, reading: Reading, step: int
    ) -> Observation:
        return observe(
            reading, states=record, beside=self._beside(past, record, reading=reading, step=step)
        )

    def _beside(
        self, past: DrumPast, record: LiquidStates, *, reading: Reading, step: int
    ) -> Beside:
        return beside_of(
            record,
            reading=reading,
            product=past.product,
            share=past.share,
            heat=self._heat(record),
            step=step,
        )

    def _donors(self, row: int, *, step: int) -> list[DrumPast]:
        """Return the drums that liquid of one came from, directly or not, as they stand now."""
        fed_by = poured_between([past.events for past in self.pasts])
        found: list[int] = []
        ahead = [row]
        while ahead:
            new = fed_by[ahead.pop()] - {row, *found}
            found += sorted(new)
            ahead += sorted(new)
        return [
            replace(
                past,
                start=step,
                state=self.states[donor : donor + 1].copy(),
                events=[e for e in past.events if e.id not in self.done],
            )
            if past.start <= step
            else past
            for donor in found
            for past in [self.pasts[donor]]
        ]

    def _settle(self, step: int) -> None:
        """Work out anew which drums march, and what their liquid and surroundings are."""
        states = self.states
        marching = states["alive"] & np.isfinite(states["layers"][:, LIKELY, 0])
        self.rows = np.flatnonzero(marching & (states["mass_kg"] > 0.0))
        if not len(self.rows):
            return
        pasts = [self.pasts[int(row)] for row in self.rows]
        self.at = np.array(
            [self.place_row[int(place)] for place in states["place"][self.rows]], dtype=np.intp
        )
        self.share = np.array([past.share for past in pasts], dtype=np.float64)
        likely = liquid_of(
            [past.product for past in pasts],
            share=self.share,
            mass_kg=states["mass_kg"][self.rows],
            films=[self.heats[int(row)].films_at(step) for row in self.at],
        )
        films = [film_at(self.heats[int(row)].film, step=step) for row in self.at]
        self.film_factor = np.array([film.factor for film in films], dtype=np.float64)
        self.film_range = np.array([film.half_range for film in films], dtype=np.float64)
        self.liquid = spread_out(likely, spread=replace(NAMED_SETTING, film=self.film_range))
        self.fade = np.exp(-STEP_SECONDS / doubt_seconds(likely))

    def _step(self, step: int) -> None:
        """Note what the step's five minutes mean, then advance the liquid over them."""
        rows = self.rows
        # Mostly all of them march, and then no copy is needed.
        whole = len(rows) == len(self.states)
        states = self.states if whole else self.states[rows]
        mean = likely_mean(states)
        air, floor, known, spread = self.air.over(step, at=self.at, mean_c=mean)
        now = self.air.likely_at(step, at=self.at, mean_c=mean)
        difference = np.abs(now - mean)
        record_drive(
            states["ring"],
            hour=step // STEPS_PER_HOUR,
            new_hour=step % STEPS_PER_HOUR == 0,
            difference_k=difference,
        )
        band = band_at(
            states,
            step=step,
            sensor_error_k=self.air.error_at(step, at=self.at),
            drive_k=difference,
        )
        remember(states, band=band, limits=self.limits.take(rows), step=step)
        grow_older(states, mean_c=mean)
        lose_open(
            states,
            mean_c=mean,
            agent=self.agent.take(rows),
            pressure=self.pressure.take(rows),
            site_kpa=self.air.site_kpa[self.at],
            step=step,
        )
        note_overpressure(
            states,
            gauge=gauge_kpa(
                states,
                mean_c=mean,
                inputs=self.pressure.take(rows),
                site_kpa=self.air.site_kpa[self.at],
            ),
        )
        faced = self.films.over(
            step,
            at=self.at,
            air_c=air,
            mean_c=mean,
            share=self.share,
            factor=self.film_factor,
            blanket_r=blanket_r(states, step=step),
        )
        liquid = replace(
            self.liquid,
            side_w_m2k=apart(faced.side_w_m2k, self.film_range),
            top_w_m2k=apart(faced.top_w_m2k, self.film_range),
        )
        layers = advance(
            sets_first(states),
            liquid=liquid,
            side_c=faced.side_c,
            top_c=faced.top_c,
            floor_c=floor,
            heat_w=heat_w(states, liquid=liquid, step=step),
            seconds=float(STEP_SECONDS),
        )
        states["layers"] = np.moveaxis(layers, 0, 1)
        states["doubt_k"] = states["doubt_k"] * self.fade + spread * (1.0 - self.fade)
        states["resolved"] |= known & (states["doubt_k"] < UNSUPPORTED_K)
        if not whole:
            self.states[rows] = states


def _in_order(happening: tuple[int, DrumEvent]) -> tuple[datetime, datetime, bool, int]:
    """Order what happens within a step, so that liquid is drawn before it is poured in."""
    _, event = happening
    return event.at, event.recorded_at, event.kind is EventKind.TOPPED, event.id.int


def _place_id(data: Mapping[str, Any]) -> int:
    return int(data["to"] if "to" in data else data["place"])


def _start_trials(past: DrumPast, *, receipt: DrumEvent, first: DrumEvent) -> list[DrumPast]:
    """Return the same drum from receipt to just before the reading, at a fan of starts."""
    centre = float(first.data["c"])
    before = [e for e in past.events if receipt.at <= e.at < first.at and e.id != receipt.id]
    trials = []
    for start in np.linspace(centre - _START_SPAN_K, centre + _START_SPAN_K, _START_TRIALS):
        measured = replace(receipt, data={**receipt.data, "liquid_c": float(start)})
        trials.append(replace(past, events=[measured, *before], state=None, straps=()))
    return trials
