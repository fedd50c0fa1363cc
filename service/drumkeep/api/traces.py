"""``/traces``: where a lot went, and what was at a place; as JSON or as CSV."""

from datetime import date
from typing import Annotated, Any, Final, Literal
from uuid import UUID

from fastapi import APIRouter, Query
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict

from drumkeep.asgi.dependencies import Now, ReadingDep
from drumkeep.asgi.fields import Answer, Line, Moment, MomentOut
from drumkeep.asgi.tables import csv_answer
from drumkeep.asgi.traces import trace_rows
from drumkeep.operations.drums import drum_tagged
from drumkeep.operations.places import place_named
from drumkeep.operations.trace import (
    DrumTrace,
    PourTrace,
    StayTrace,
    Trace,
    kept_to,
    trace_drums,
    trace_lot,
    trace_place,
)

router = APIRouter(prefix="/traces", tags=["traces"])

_CSV: Final[dict[int | str, dict[str, Any]]] = {200: {"content": {"text/csv": {}}}}


class _Format(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    format: Literal["json", "csv"] = "json"
    units: Literal["us", "si"] = "si"


class LotQuery(_Format):
    """Which lot; ``units`` count for CSV only."""

    product: Line
    lot: Line


class DrumQuery(_Format):
    """Which drum; ``units`` count for CSV only."""

    drum: Line


class PlaceQuery(_Format):
    """Which place, with what lies in it, and when; ``units`` count for CSV only."""

    place: Line
    start: Moment
    end: Moment


class StayOut(Answer):
    """A drum in a place; °C, hours; null where nothing was known of the liquid.

    ``unknown_h`` of ``hours`` did not count as known; the points lie ``apart_h`` apart at most.
    """

    place: str
    kind: str
    since: MomentOut
    until: MomentOut | None
    hours: float
    bottom_min_c: float | None
    bottom_mean_c: float | None
    bottom_max_c: float | None
    low_c: float | None
    high_c: float | None
    unknown_h: float
    apart_h: float


class PourOut(Answer):
    """Liquid poured from or into another drum."""

    drum: str
    product: str
    lot: str
    at: MomentOut


class TracedPullOut(Answer):
    """A pull list on which a drum stands, for when, and who took the drum along."""

    pull: int
    wanted_at: MomentOut | None
    taken_at: MomentOut | None
    taken_by: str | None


class TracedEventOut(Answer):
    """What somebody recorded of a drum; places are ids."""

    id: UUID
    kind: str
    at: MomentOut
    recorded_at: MomentOut
    by: str
    data: dict[str, Any]
    note: str | None


class DrumTraceOut(Answer):
    """A drum: where it was, what happened, what was poured in and out."""

    drum: str
    product: str
    side: str
    lot: str
    made_on: date
    received_at: MomentOut
    ended: str | None
    claim: int | None
    stays: list[StayOut]
    poured_in: list[PourOut]
    poured_out: list[PourOut]
    pulls: list[TracedPullOut]
    events: list[TracedEventOut]


class CalibrationOut(Answer):
    """From ``since`` on, true value = gain x raw value + offset."""

    since: MomentOut
    gain: float
    offset: float


class SensorTraceOut(Answer):
    """A sensor of the air that the drums stood in."""

    sensor: str
    place: str
    since: MomentOut
    until: MomentOut | None
    error_k: float
    calibrations: list[CalibrationOut]


class DoubtOut(Answer):
    """An alarm that says that what a sensor told was missing or not believed."""

    alarm: str
    kind: str
    since: MomentOut
    until: MomentOut | None


class LimitOut(Answer):
    """A limit of a product, °C, and where it comes from."""

    product: str
    name: str
    c: float
    origin: str


class TraceOut(Answer):
    """Drums and what the temperatures told of them rest on.

    ``receivers`` are drums of other lots that liquid of these was poured into.
    """

    start: MomentOut
    end: MomentOut
    drums: list[DrumTraceOut]
    receivers: list[DrumTraceOut]
    sensors: list[SensorTraceOut]
    doubts: list[DoubtOut]
    limits: list[LimitOut]


@router.get("/lot", response_model=TraceOut, responses=_CSV)
def of_lot(tx: ReadingDep, query: Annotated[LotQuery, Query()], now: Now) -> TraceOut | Response:
    """Trace a lot: each drum, where it was and how warm, what it was poured into, what happened."""
    trace = trace_lot(tx, product=query.product, lot=query.lot, now=now)
    return _answer(trace, query, name=f"lot-{query.lot}")


@router.get("/drum", response_model=TraceOut, responses=_CSV)
def of_drum(tx: ReadingDep, query: Annotated[DrumQuery, Query()], now: Now) -> TraceOut | Response:
    """Trace one drum."""
    drum = drum_tagged(tx, tag=query.drum)
    return _answer(trace_drums(tx, drum_ids=[drum.id], now=now), query, name=f"drum-{drum.tag}")


@router.get("/place", response_model=TraceOut, responses=_CSV)
def of_place(
    tx: ReadingDep, query: Annotated[PlaceQuery, Query()], now: Now
) -> TraceOut | Response:
    """Trace back which drums of which lots were at a place, a rig or a job site, and when."""
    place = place_named(tx, reference=query.place)
    trace = trace_place(tx, place_id=place.id, start=query.start, end=query.end, now=now)
    return _answer(trace, query, name=f"place-{query.place}")


def _answer(trace: Trace, query: _Format, *, name: str) -> TraceOut | Response:
    if query.format == "csv":
        return csv_answer(trace_rows(trace, us=query.units == "us"), name=name)
    return TraceOut(
        start=trace.start,
        end=trace.end,
        drums=[_drum(drum) for drum in trace.drums],
        receivers=[_drum(drum) for drum in trace.receivers],
        sensors=[
            SensorTraceOut(
                sensor=told.sensor.name,
                place=told.place.code,
                since=told.mount.since,
                until=told.mount.until,
                error_k=told.sensor.error_k,
                calibrations=[
                    CalibrationOut(since=c.since, gain=c.gain, offset=c.offset)
                    for c in told.calibrations
                ],
            )
            for told in trace.sensors
        ],
        doubts=[
            DoubtOut(alarm=a.id, kind=a.kind, since=a.raised_at, until=a.returned_at)
            for a in trace.doubts
        ],
        limits=[
            LimitOut(product=product.code, name=name, c=c, origin=origin)
            for product in trace.products
            for name, c, origin in kept_to(product)
        ],
    )


def _drum(drum: DrumTrace) -> DrumTraceOut:
    row = drum.row
    return DrumTraceOut(
        drum=row.drum.tag,
        product=row.product.code,
        side=row.product.side,
        lot=row.lot.code,
        made_on=row.lot.made_on,
        received_at=row.drum.received_at,
        ended=row.drum.ended,
        claim=drum.claim_id,
        stays=[_stay(stay) for stay in drum.stays],
        poured_in=[_pour(pour) for pour in drum.poured_in],
        poured_out=[_pour(pour) for pour in drum.poured_out],
        pulls=[
            TracedPullOut(
                pull=pull.pull_id,
                wanted_at=pull.wanted_at,
                taken_at=pull.taken_at,
                taken_by=pull.taken_by,
            )
            for pull in drum.pulls
        ],
        events=[
            TracedEventOut(
                id=event.id,
                kind=event.kind,
                at=event.at,
                recorded_at=event.recorded_at,
                by=event.by,
                data=event.data,
                note=event.note,
            )
            for event in drum.events
        ],
    )


def _stay(stay: StayTrace) -> StayOut:
    span = stay.span
    return StayOut(
        place=f"{stay.site.code}/{stay.place.code}",
        kind=stay.place.kind,
        since=stay.since,
        until=stay.until,
        hours=span.hours,
        bottom_min_c=span.bottom_min_c,
        bottom_mean_c=span.bottom_mean_c,
        bottom_max_c=span.bottom_max_c,
        low_c=span.low_c,
        high_c=span.high_c,
        unknown_h=span.unknown_h,
        apart_h=span.apart_h,
    )


def _pour(pour: PourTrace) -> PourOut:
    return PourOut(drum=pour.tag, product=pour.product, lot=pour.lot, at=pour.at)
