"""``/drums/{tag}/why``: what an answer about a drum rests on, and how sure it is."""

from math import isfinite
from typing import Annotated, Final

from fastapi import APIRouter, Query

from drumkeep.api.drums import OutputQuery
from drumkeep.api.schemas.why import (
    AirToComeOut,
    BandWhyOut,
    DoubtOut,
    HeaterOnOut,
    LimitUsedOut,
    MeasuredOut,
    OptionOut,
    PartOut,
    PlaceWhyOut,
    PropertyUsedOut,
    SensorWhyOut,
    StartOut,
    WhyOut,
)
from drumkeep.asgi.dependencies import Now, ReadingDep
from drumkeep.domain.air_ahead import basis_words
from drumkeep.domain.doubt_words import seen
from drumkeep.domain.film import FilmSource
from drumkeep.domain.grid import from_ms, moment_of
from drumkeep.domain.heaters import Heater
from drumkeep.domain.plausibility import Doubt
from drumkeep.domain.products import OutputClass
from drumkeep.domain.sensors import What
from drumkeep.domain.why import Option, Width
from drumkeep.domain.why_words import CAUSES, Writer, best_words, option_words, way_words
from drumkeep.domain.wording import plain
from drumkeep.operations import drums
from drumkeep.operations.why import LEADS_H, FilmTold, SensorTold, Start, Why, why_of
from drumkeep.storage import drums as rows
from drumkeep.storage.tables.measurements import Measurement

router = APIRouter(prefix="/drums", tags=["drums"])

_SI: Final = Writer(
    span=lambda low, high: f"{low:.1f} to {high:.1f} °C", difference=lambda k: f"{k:.1f} K"
)
_NAMED: Final = "named"


@router.get("/{tag}/why")
def get_why(tx: ReadingDep, tag: str, query: Annotated[OutputQuery, Query()], now: Now) -> WhyOut:
    """Get what an answer about a drum rests on, how sure it is, and what would make it surer."""
    row = rows.list_drums(tx, tag=drums.drum_tagged(tx, tag=tag).tag, present=False)[0]
    output = query.output or OutputClass(row.drum.wanted_output or row.site.output_class)
    why = why_of(tx, row=row, output=output, now=now)
    return WhyOut(
        tag=row.drum.tag,
        computed_at=why.computed_at,
        supported_to=why.supported_to,
        place=_place_out(why),
        heater=_heater_out(why.heater),
        sensors=[_sensor_out(told) for told in why.sensors],
        start=_start_out(why.start),
        net_kg=row.drum.net_kg,
        net_kg_from=why.mass_from.kind.value,
        net_kg_since=why.mass_from.at,
        measurements=[_measured_out(m, by=why.measured_by.get(m.id)) for m in why.measurements],
        output=output,
        limits=[LimitUsedOut(**limit.__dict__) for limit in why.limits],
        properties_at_c=list(why.properties_at_c),
        properties=[
            PropertyUsedOut(name=p.name, values=list(p.values), origin=p.origin)
            for p in why.properties
        ],
        band=None if why.width is None else _band_out(why.width),
        narrows_most=best_words(why.best, now=why.width, write=_SI) if why.options else None,
        options=[_option_out(option, why=why) for option in why.options],
        air_to_come=None
        if why.air_to_come is None
        else AirToComeOut(
            basis=why.air_to_come.ahead.basis,
            said=basis_words(why.air_to_come.ahead, now=now),
            off_k=dict(zip(LEADS_H, why.air_to_come.off_k, strict=False)),
            issued_at=why.air_to_come.ahead.issued_at,
        ),
    )


def _place_out(why: Why) -> PlaceWhyOut | None:
    film: FilmTold | None = why.film
    if film is None:
        return None
    force = film.in_force
    return PlaceWhyOut(
        place=why.site_place,
        air_told_at=None if why.air_place is None else why.air_place.name,
        air_c=why.air_c,
        air_known=why.air_known,
        motion=why.place.motion,
        wind_m_s=why.place.wind_m_s,
        standing=why.place.standing,
        crowding=why.place.crowding,
        sun=why.place.sun,
        side_share=why.side_share,
        named_side_film_w_m2k=film.named.side_w_m2k,
        film_factor=force.factor,
        film_low=force.factor / force.half_range,
        film_high=force.factor * force.half_range,
        film_source=_NAMED if film.row is None else FilmSource(film.row.source),
        film_dips=0 if film.row is None else film.row.dips,
        film_since=None if film.row is None else film.row.since,
    )


def _heater_out(heater: Heater | None) -> HeaterOnOut | None:
    if heater is None:
        return None
    return HeaterOnOut(
        device=heater.device.name.lower(),
        watts=heater.watts,
        until=heater.until,
        thermostat_c=heater.thermostat_c,
    )


def _sensor_out(told: SensorTold) -> SensorWhyOut:
    one = told.watched
    what, series = one.series.what, one.series
    heard = bool(len(series.ts_ms))
    return SensorWhyOut(
        sensor=one.sensor.name,
        what=what,
        place=told.place,
        hung_since=one.mount.since,
        last=float(series.value_c[-1]) if heard and isfinite(series.value_c[-1]) else None,
        last_at=from_ms(int(series.ts_ms[-1])) if heard else None,
        error_k=one.sensor.error_k,
        silent=told.silent,
        doubted=told.doubted,
        doubts=[_doubt_out(doubt, what=what) for doubt in one.doubts],
    )


def _doubt_out(doubt: Doubt, *, what: What) -> DoubtOut:
    return DoubtOut(
        reason=doubt.reason,
        since=from_ms(doubt.from_ms),
        until=None if doubt.until_ms is None else from_ms(doubt.until_ms),
        said=plain(seen(doubt, what=what)),
    )


def _start_out(start: Start) -> StartOut:
    low, mean, high = start.air_c or (None, None, None)
    return StartOut(
        told_by=start.begun,
        received_at=start.received_at,
        measured_c=start.measured_c,
        measured_at=start.measured_at,
        origin=start.origin,
        air_low_c=low,
        air_mean_c=mean,
        air_high_c=high,
        doubt_k=start.doubt_k,
        counts_as_known=start.resolved,
    )


def _measured_out(row: Measurement, *, by: str | None) -> MeasuredOut:
    return MeasuredOut(
        at=moment_of(row.step),
        what=What.SKIN if row.on_wall else What.LIQUID,
        sensor=by,
        height_m=row.height_m,
        measured_c=row.measured_c,
        computed_c=row.computed_c,
        after_c=row.after_c,
        innovation_k=row.innovation_k,
        expected_k=row.expected_k,
        sigma_k=row.sigma_k,
        use=row.use,
    )


def _band_out(width: Width) -> BandWhyOut:
    return BandWhyOut(
        low_c=width.low_c,
        high_c=width.high_c,
        half_width_k=width.half_k,
        parts=[
            PartOut(cause=cause, half_width_k=k, said=CAUSES[cause])
            for cause, k in width.parts.items()
        ],
    )


def _option_out(option: Option, *, why: Why) -> OptionOut:
    clause = option_words(option, now=why.width, air_known=why.air_known, write=_SI)
    return OptionOut(
        way=option.way,
        height_m=option.height_m,
        low_c=option.low_c,
        high_c=option.high_c,
        half_width_k=option.half_k,
        half_width_after_a_day_k=option.day_later_k,
        said=f"{way_words(option)}: {clause}.",
    )
