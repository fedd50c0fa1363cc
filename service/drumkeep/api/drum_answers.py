"""Drums and their events as the API answers them: SI, UTC, places as ``site/code``."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from drumkeep.api.content_answers import content_out
from drumkeep.api.pressure_answers import pressure_out
from drumkeep.api.schemas.drums import DrumOut, EstimateOut, ReadinessOut
from drumkeep.api.schemas.events import EventOut, MetOut, StrapMetOut
from drumkeep.domain.conditions import CLEAR, GRAVEST_FIRST
from drumkeep.domain.grid import moment_of
from drumkeep.domain.products import OutputClass
from drumkeep.domain.sensors import What
from drumkeep.domain.wording import plain
from drumkeep.operations.pressure import report_of
from drumkeep.operations.verdict_records import UNCOMPUTED, from_iso
from drumkeep.storage import catalogue, measurements
from drumkeep.storage.drums import StockRow
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.drums import Drum, Event
from drumkeep.storage.tables.estimates import Estimate
from drumkeep.storage.tables.measurements import Measurement
from drumkeep.storage.transaction import Tx

_PLACES: Final = ("place", "from", "to")
"""Fields of events that may hold a place, by its id then; or a drum, by its tag."""


def drum_out(row: StockRow, *, output: OutputClass | None = None) -> DrumOut:
    """Answer a drum, judged for an output class: the one wanted, else its site's."""
    estimate = row.estimate
    chosen = output or OutputClass(row.drum.wanted_output or row.site.output_class)
    conditions = estimate.conditions if estimate is not None else []
    product = as_product(row.product)
    report = report_of(row, product=product)
    outlook = estimate.outlook if estimate is not None else {}
    return DrumOut(
        tag=row.drum.tag,
        side=row.product.side,
        product=row.product.code,
        lot=row.lot.code,
        site=row.site.code,
        place=f"{row.site.code}/{row.place.code}",
        net_kg=row.drum.net_kg,
        received_at=row.drum.received_at,
        ended=row.drum.ended,
        estimate=_estimate_out(estimate),
        readiness=_readiness_out(estimate, output=chosen),
        condition=next((c.value for c in GRAVEST_FIRST if c.value in conditions), CLEAR),
        conditions=conditions,
        pressure_kpa=estimate.pressure_kpa if estimate is not None else None,
        pressure=None if report is None else pressure_out(report),
        wanted_at=row.drum.wanted_at,
        start_by=from_iso(outlook.get("start_by")),
        **content_out(estimate, product=product),
    )


def _estimate_out(estimate: Estimate | None) -> EstimateOut | None:
    if estimate is None or estimate.basis is None:
        return None
    return EstimateOut.model_validate(
        {
            "bottom_c": estimate.bottom_c,
            "mean_c": estimate.mean_c,
            "top_c": estimate.top_c,
            "low_c": estimate.low_c,
            "high_c": estimate.high_c,
            "at": moment_of(estimate.step),
            "supported_to": estimate.supported_to,
            "basis": estimate.basis,
        }
    )


def _readiness_out(estimate: Estimate | None, *, output: OutputClass) -> ReadinessOut:
    verdict = UNCOMPUTED if estimate is None else estimate.verdicts[output.value]
    return ReadinessOut(
        state=verdict["state"],
        output=output,
        reasons=[plain(text) for text in verdict["reasons"]],
        advice=[plain(text) for text in verdict["advice"]],
        cautions=[plain(text) for text in verdict["cautions"]],
        ready_at=from_iso(verdict["ready_at"]),
        ready_from=from_iso(verdict["ready_from"]),
        warm_room=verdict["warm_room"],
        ready_in_warm_room_at=from_iso(verdict["ready_in_warm_room_at"]),
        ready_in_warm_room_from=from_iso(verdict["ready_in_warm_room_from"]),
    )


def event_out(tx: Tx, events: Sequence[Event]) -> list[EventOut]:
    """Answer events as recorded."""
    kept = [part for event in events for part in (event.data, event.data.get("data") or {})]
    ids = {part[name] for part in kept for name in _PLACES if isinstance(part.get(name), int)}
    references = catalogue.place_references(tx, ids=sorted(ids))
    met = measurements.by_events(tx, event_ids=[event.id for event in events])
    return [
        EventOut(
            id=event.id,
            kind=event.kind,
            at=event.at,
            recorded_at=event.recorded_at,
            by=event.by,
            data=_with_references(event.data, references=references),
            note=event.note,
            met=_met_out(met[event.id]) if event.id in met else None,
        )
        for event in events
    ]


def strap_out(tx: Tx, *, drum: Drum, first: int, last: int) -> list[StrapMetOut]:
    """Answer what became of the readings of a drum's straps between two grid steps."""
    rows = measurements.by_straps(tx, drum_id=drum.id, first=first, last=last)
    sensors = catalogue.sensors_by_id(
        tx, ids=sorted({row.sensor_id for row in rows if row.sensor_id is not None})
    )
    return [
        StrapMetOut(
            at=moment_of(row.step),
            sensor=sensors[row.sensor_id].name,
            what=What.SKIN if row.on_wall else What.LIQUID,
            **_met_out(row).model_dump(),
        )
        for row in rows
        if row.sensor_id is not None
    ]


def _met_out(row: Measurement) -> MetOut:
    return MetOut(
        measured_c=row.measured_c,
        computed_c=row.computed_c,
        after_c=row.after_c,
        innovation_k=row.innovation_k,
        expected_k=row.expected_k,
        sigma_k=row.sigma_k,
        use=row.use,
    )


def _with_references(data: Mapping[str, Any], *, references: Mapping[int, str]) -> dict[str, Any]:
    """Return an event's own fields with places as ``site/code``; what it corrects alike."""
    told = dict(data)
    for name in _PLACES:
        if isinstance(told.get(name), int):
            told[name] = references.get(told[name])
    if isinstance(told.get("data"), Mapping):
        told["data"] = _with_references(told["data"], references=references)
    return told
