"""Why the service says what it says of a drum: what told it, how old that is, how sure it is."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from math import isfinite
from typing import Final

from drumkeep.domain.air_ahead import PER_HOUR, AirAhead, AirBasis, air_ahead
from drumkeep.domain.alarm_rules.watch import silent_after
from drumkeep.domain.drum_past import first_measurement
from drumkeep.domain.drums import DrumFacts, fold
from drumkeep.domain.events import DrumEvent, EventKind, effective
from drumkeep.domain.film import FilmInForce, film_at
from drumkeep.domain.grid import moment_of, to_ms
from drumkeep.domain.heaters import Heater
from drumkeep.domain.limits_used import LimitUsed, PropertyUsed, limits_used, properties_used
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import OutputClass, Product
from drumkeep.domain.why import (
    Option,
    Standing,
    Width,
    best_of,
    options_of,
    width_of,
)
from drumkeep.operations.estimates import DAY_STEPS, origin_of, start_of, whereabouts
from drumkeep.operations.ground import Ground, read_ground
from drumkeep.operations.sensor_watch import WatchedSensor, watch_sensors
from drumkeep.operations.surroundings import read_places
from drumkeep.storage import catalogue, measurements, place_films
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import ground as ground_rows
from drumkeep.storage.drums import StockRow
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Mount, Place
from drumkeep.storage.tables.estimates import Estimate
from drumkeep.storage.tables.measurements import Measurement
from drumkeep.storage.tables.place_films import PlaceFilm
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.boundary import SHARES, Exposure

LATELY: Final = timedelta(hours=24)
MEASUREMENTS_SHOWN: Final = 5
LEADS_H: Final = (6, 12, 24)
"""Hours ahead for which it is told how far the air to come has been off."""


class Begun(StrEnum):
    """What told the temperature that a drum began at."""

    MEASURED = "measured"
    FIRST_MEASUREMENT = "first_measurement"
    AIR = "air"
    NOTHING = "nothing"


@dataclass(frozen=True)
class Start:
    """How a drum began; air where it came from, °C: lowest, mean and highest of two days before.

    ``doubt_k`` is what the start, or a gap since, still leaves open; ``resolved`` whether what is
    left is little enough for the liquid to count as known.
    """

    begun: Begun
    received_at: datetime
    measured_c: float | None
    measured_at: datetime | None
    origin: str | None
    air_c: tuple[float, float, float] | None
    doubt_k: float
    resolved: bool


@dataclass(frozen=True)
class SensorTold:
    """A sensor that has to do with a drum, where it hangs, and whether it is silent."""

    watched: WatchedSensor
    place: str | None
    silent: bool
    doubted: bool


@dataclass(frozen=True)
class FilmTold:
    """The film of a drum's place: as named, in force, and the row that says why (None: named)."""

    named: Exposure
    in_force: FilmInForce
    row: PlaceFilm | None


@dataclass(frozen=True)
class AirToCome:
    """What is taken for the air to come, and how far off nine in ten were, K, at ``LEADS_H``."""

    ahead: AirAhead
    off_k: tuple[float, ...]


@dataclass(frozen=True)
class Why:
    """All that an answer about a drum rests on; temperatures °C, differences K.

    ``place`` is where it stands, ``air_place`` the place whose sensors tell its air (None where
    none do), ``side_share`` of its side sees that air. ``width`` is None while nothing is known of
    the liquid, and everything of the present once the drum is gone.
    """

    place: Place
    site_place: str
    air_place: Place | None
    air_c: float | None
    air_known: bool
    sensors: tuple[SensorTold, ...]
    film: FilmTold | None
    side_share: float
    heater: Heater | None
    start: Start
    mass_from: DrumEvent
    measurements: tuple[Measurement, ...]
    measured_by: dict[int, str]
    limits: tuple[LimitUsed, ...]
    properties: tuple[PropertyUsed, ...]
    properties_at_c: tuple[float, ...]
    width: Width | None
    options: tuple[Option, ...]
    best: Option | None
    air_to_come: AirToCome | None
    computed_at: datetime | None
    supported_to: datetime | None


def why_of(tx: Tx, *, row: StockRow, output: OutputClass, now: datetime) -> Why:
    """Return what an answer about a drum rests on.

    Parameters
    ----------
    tx
        Any transaction.
    row
        The drum with what is stored of it.
    output
        The class that it is judged for.
    now
        The present, UTC.
    """
    product = as_product(row.product)
    events = effective(drum_rows.events_of(tx, drum_ids=[row.drum.id])[row.drum.id])
    facts = fold(events, product=product)
    ground = read_ground(tx, around=whereabouts([facts]))
    estimate = None if row.drum.ended is not None else row.estimate
    present = None if estimate is None else _Present(tx, ground, row, product, estimate, now)
    standing = None if present is None else present.standing
    told = measurements.newest(tx, drum_id=row.drum.id, limit=MEASUREMENTS_SHOWN)
    width = width_of(standing) if standing is not None and standing.known else None
    options = (
        ()
        if standing is None or estimate is None
        else options_of(standing, humidity_assumed=estimate.humidity_assumed is not False)
    )
    at_c = () if estimate is None or estimate.bottom_c is None else _span_of(estimate)
    return Why(
        place=row.place,
        site_place=f"{row.site.code}/{row.place.code}",
        air_place=None if present is None else present.air_place,
        air_c=None if present is None else present.air_c,
        air_known=present is not None and present.air_known,
        sensors=() if present is None else present.sensors(),
        film=None if present is None else present.film(),
        side_share=row.drum.share * SHARES[row.place.crowding],
        heater=facts.heater if facts.heater is not None and facts.heater.until > now else None,
        start=_start(tx, ground=ground, events=events, facts=facts, estimate=estimate),
        mass_from=[e for e in events if e.kind in _MASS][-1],
        measurements=tuple(told),
        measured_by=_measured_by(tx, told),
        limits=limits_used(product, output=output),
        properties=properties_used(product, at_c=at_c),
        properties_at_c=at_c,
        width=width,
        options=options,
        best=best_of(options, now=width),
        air_to_come=None if present is None else present.air_to_come(),
        computed_at=None if estimate is None else moment_of(estimate.step),
        supported_to=None if estimate is None else estimate.supported_to,
    )


_MASS: Final = frozenset(
    {EventKind.RECEIVED, EventKind.WEIGHED, EventKind.DECANTED, EventKind.TOPPED}
)
"""What the mass of a drum rests on: the last of these."""


def _span_of(estimate: Estimate) -> tuple[float, ...]:
    told = (estimate.bottom_c, estimate.mean_c, estimate.top_c)
    return tuple(c for c in told if c is not None)


class _Present:
    """A drum that is there, as it was last computed, with what is round it."""

    def __init__(  # noqa: PLR0917 - the private half of why_of
        self,
        tx: Tx,
        ground: Ground,
        row: StockRow,
        product: Product,
        estimate: Estimate,
        now: datetime,
    ) -> None:
        self._tx, self._ground, self._row, self._now = tx, ground, row, now
        self._step = estimate.step
        self._heat = read_places(
            tx,
            ground=ground,
            place_ids=[row.place.id],
            first=self._step - DAY_STEPS,
            last=self._step,
        )[row.place.id]
        self.standing = Standing(
            states=states_from_bytes([estimate.state]),
            product=product,
            share=row.drum.share,
            heat=self._heat,
            step=self._step,
        )
        self._told_by, self.air_place = self._nearest()
        air = self.standing.air_c
        self.air_c = air if isfinite(air) else None
        self.air_known = self._heat.air.supported_at(self._step)

    def _nearest(self) -> tuple[list[Mount], Place | None]:
        """Return the mounts whose sensors tell the air now, and where they hang."""
        for place_id in self._ground.enclosing(self._row.place.id):
            hanging = [m for m in self._ground.air_mounts.get(place_id, ()) if m.until is None]
            if hanging:
                return hanging, self._ground.places[place_id]
        return [], None

    def sensors(self) -> tuple[SensorTold, ...]:
        """Return the sensors of its air, floor, humidity and sun, and those on the drum."""
        place_id = self._row.place.id
        mounts = [
            *self._told_by,
            *self._ground.floor_mounts.get(place_id, ()),
            *self._ground.humidity_mounts.get(place_id, ()),
            *(mount for mounts in self._ground.sun_over(place_id) for mount in mounts),
            *ground_rows.drum_mounts(self._tx, drum_ids=[self._row.drum.id]),
        ]
        ids = {mount.sensor_id for mount in mounts if mount.until is None}
        watched = watch_sensors(
            self._tx, ground=self._ground, lately=LATELY, now=self._now, only=ids
        )
        return tuple(self._told(one) for one in watched)

    def _told(self, one: WatchedSensor) -> SensorTold:
        place_id = one.mount.place_id
        heard = one.series.ts_ms
        now_ms = to_ms(self._now)
        last_ms = int(heard[-1]) if len(heard) else to_ms(one.mount.since)
        return SensorTold(
            watched=one,
            place=None if place_id is None else self._ground.places[place_id].name,
            silent=timedelta(milliseconds=now_ms - last_ms) > silent_after(one.sensor.interval_s),
            doubted=any(doubt.holds_at(now_ms) for doubt in one.doubts),
        )

    def film(self) -> FilmTold:
        """Return the film of its place."""
        rows = place_films.films_of(self._tx, place_id=self._row.place.id)
        return FilmTold(
            named=self._heat.films,
            in_force=film_at(self._heat.film, step=self._step),
            row=place_films.film_on(rows, at=self._now),
        )

    def air_to_come(self) -> AirToCome:
        """Return what the days ahead rest on."""
        place = self._row.place
        ahead = air_ahead(
            kind=PlaceKind(place.kind),
            set_point_c=place.set_point_c,
            air=self._heat.air,
            clues=self._heat.clues,
            now_step=self._step,
            hours=max(LEADS_H),
        )
        off = 0.5 * (ahead.high - ahead.low)
        known = ahead.basis is not AirBasis.NOTHING
        return AirToCome(
            ahead=ahead,
            off_k=tuple(float(off[hour * PER_HOUR]) for hour in LEADS_H) if known else (),
        )


def _start(
    tx: Tx,
    *,
    ground: Ground,
    events: Sequence[DrumEvent],
    facts: DrumFacts,
    estimate: Estimate | None,
) -> Start:
    receipt = events[0]
    measured = receipt.data.get("liquid_c")
    first = first_measurement(events, receipt=receipt)
    origin_id = origin_of(ground, facts)
    air = None
    told = start_of(tx, ground, origin=origin_id, facts=facts) if measured is None else None
    if told is not None:
        air, origin_id = told
    if measured is not None:
        begun = Begun.MEASURED
    elif first is not None:
        begun = Begun.FIRST_MEASUREMENT
    else:
        begun = Begun.NOTHING if air is None else Begun.AIR
    state = None if estimate is None else states_from_bytes([estimate.state])[0]
    return Start(
        begun=begun,
        received_at=receipt.at,
        measured_c=measured if first is None else float(first.data["c"]),
        measured_at=receipt.at if measured is not None else None if first is None else first.at,
        origin=ground.places[origin_id].name,
        air_c=air,
        doubt_k=0.0 if state is None else float(state["doubt_k"]),
        resolved=state is not None and bool(state["resolved"]),
    )


def _measured_by(tx: Tx, told: Sequence[Measurement]) -> dict[int, str]:
    """Return the names of the straps among some measurements, by the measurement's id."""
    ids = sorted({row.sensor_id for row in told if row.sensor_id is not None})
    sensors = catalogue.sensors_by_id(tx, ids=ids)
    return {row.id: sensors[row.sensor_id].name for row in told if row.sensor_id is not None}
