"""Why a drum is said to be what it is said to be, as its page shows it: names and sentences."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from drumkeep.domain.air_ahead import basis_words
from drumkeep.domain.doubt_words import said as value_said
from drumkeep.domain.doubt_words import seen
from drumkeep.domain.events import EventKind
from drumkeep.domain.grid import from_ms, moment_of
from drumkeep.domain.heaters import Heater
from drumkeep.domain.limits_used import LimitUsed
from drumkeep.domain.why import Option, Width
from drumkeep.domain.why_words import CAUSES, Writer, best_words, option_words, way_words
from drumkeep.operations.why import LEADS_H, AirToCome, Begun, SensorTold, Start, Why
from drumkeep.storage.drums import StockRow
from drumkeep.storage.tables.measurements import Measurement
from drumkeep.web.formats import Formats
from drumkeep.web.views.events import met_words
from drumkeep.web.views.places import film_views, setting_view
from drumkeep.web.views.products import PropertyRow
from drumkeep.web.views.sensors import MEASURES, size_words
from drumkeep.web.views.sentences import said
from drumkeep.web.wording import output_words

Facts = tuple[tuple[str, str], ...]

_LIMITS: Final[Mapping[str, str]] = {
    "use_low_under_20_c": "Spray from",
    "use_low_from_20_c": "Spray from",
    "use_high_c": "Spray up to",
    "storage_low_c": "Store from",
    "storage_high_c": "Store up to",
    "seed_c": "Seeding",
    "deep_seed_c": "Seeds within minutes",
    "redissolve_c": "Solids dissolve from",
    "gassing_c": "Gassing above",
    "maximum_c": "Maximum",
    "agent_loss_allowance": "Blowing agent that may be lost",
    "agitate_before_use_min": "Mix before use",
    "agitate_if_stored_days": "Mix if stored for",
    "shelf_life_days": "Shelf life",
}
_PROPERTIES: Final[Mapping[str, tuple[str, float]]] = {
    "density": ("Density, kg/m³", 1.0),
    "expansion": ("Expansion, 1/1000 per °C", 1000.0),
    "specific_heat": ("Specific heat, J/(kg °C)", 1.0),
    "conductivity": ("Conductivity, W/(m °C)", 1.0),
    "viscosity": ("Viscosity, cP (mPa s)", 1000.0),
}
_MASS: Final[Mapping[EventKind, str]] = {
    EventKind.RECEIVED: "as received",
    EventKind.WEIGHED: "weighed",
    EventKind.DECANTED: "less what was poured off",
    EventKind.TOPPED: "with what was poured in",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PartView:
    """What a cause adds either way; ``share`` of the whole in per cent."""

    words: str
    size: str
    share: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorWhyView:
    """A sensor: what it measures and where, its last reading, what it is doubted for."""

    measures: str
    where: str
    name: str
    hung_at: datetime
    last: str | None
    last_at: datetime | None
    error: str
    silent: bool
    doubted: bool
    doubts: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredView:
    """A measurement: what was measured, and what the computation made of it."""

    at: datetime
    what: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WhyView:
    """All that an answer about a drum rests on; ``band`` is empty while nothing is known."""

    tag: str
    side: str
    lot: str
    place: str
    place_code: str
    output: str
    band: str
    half: str
    best: str
    parts: tuple[PartView, ...]
    options: Facts
    air: str
    sensors: tuple[SensorWhyView, ...]
    stands: str
    film: str
    film_since: datetime | None
    heater: str
    start: str
    mass: str
    measurements: tuple[MeasuredView, ...]
    limits: tuple[tuple[str, str, str], ...]
    properties_at: tuple[str, ...]
    properties: tuple[PropertyRow, ...]
    ahead: str
    off: Facts
    computed_at: datetime | None
    supported_to: datetime | None
    timezone: str


def why_view(why: Why, *, row: StockRow, output: str, formats: Formats) -> WhyView:
    """Return what an answer rests on, in the viewer's units and the site's time."""
    coming = why.air_to_come
    width, write = why.width, Writer(span=formats.temp_span, difference=formats.fine_difference)
    return WhyView(
        tag=row.drum.tag,
        side=row.product.side,
        lot=row.lot.code,
        place=row.place.name,
        place_code=why.site_place,
        output=output_words(output, formats),
        band="" if width is None else formats.temp_span(width.low_c, width.high_c),
        half="" if width is None else formats.fine_difference(width.half_k),
        best=best_words(why.best, now=width, write=write) if why.options else "",
        parts=() if width is None else _parts(width, formats=formats),
        options=tuple(
            (
                _named(option, formats=formats),
                f"{option_words(option, now=width, air_known=why.air_known, write=write)}.",
            )
            for option in why.options
        ),
        air=_air(why, formats=formats),
        sensors=tuple(_sensor(told, formats=formats) for told in why.sensors),
        stands=" ".join(
            (
                setting_view(why.place, formats=formats).words,
                formats.words(
                    "{share} of its side sees the air.", share=formats.share(why.side_share)
                ),
            )
        ),
        film=_film(why, formats=formats),
        film_since=None if why.film is None or why.film.row is None else why.film.row.since,
        heater=_heater(why.heater, formats=formats),
        start=_start(why.start, formats=formats),
        mass=formats.words(
            "{mass}, {how} {time}",
            mass=formats.mass(row.drum.net_kg),
            how=formats.words(_MASS[why.mass_from.kind]),
            time=formats.when(why.mass_from.at),
        ),
        measurements=tuple(
            _measured(met, by=why.measured_by.get(met.id), formats=formats)
            for met in why.measurements
        ),
        limits=tuple(
            (_LIMITS[limit.name], _limit(limit, formats=formats), limit.origin)
            for limit in why.limits
        ),
        properties_at=tuple(formats.temp(c) for c in why.properties_at_c),
        properties=_properties(why) if why.properties_at_c else (),
        ahead="" if coming is None else basis_words(coming.ahead, now=formats.now),
        off=() if coming is None else _off(coming, formats=formats),
        computed_at=why.computed_at,
        supported_to=why.supported_to,
        timezone=row.site.timezone,
    )


def _parts(width: Width, *, formats: Formats) -> tuple[PartView, ...]:
    whole = max(width.half_k, 1e-9)
    ordered = sorted(width.parts.items(), key=lambda part: -part[1])
    return tuple(
        PartView(
            words=CAUSES[cause],
            size=formats.fine_difference(k),
            share=round(100.0 * k / whole),
        )
        for cause, k in ordered
    )


def _named(option: Option, *, formats: Formats) -> str:
    words = way_words(option)
    if option.height_m is None:
        return words
    up = formats.length(option.height_m)
    return formats.words("{measurement}, {height} up", measurement=formats.words(words), height=up)


def _air(why: Why, *, formats: Formats) -> str:
    if why.air_place is None:
        return formats.words(
            "No air sensor hangs here or in what this place is part of: the air is not known."
        )
    words, elsewhere = formats.words, why.air_place.id != why.place.id
    if why.air_c is None and elsewhere:
        unheard = "No air sensor has said anything that counts, told by what hangs in {place}."
        return words(unheard, place=why.air_place.name)
    if why.air_c is None:
        return words("No air sensor has said anything that counts.")
    now = words("{temp} now", temp=formats.temp(why.air_c))
    if elsewhere:
        told = "{air}, told by what hangs in {place}"
        now = words(told, air=now, place=why.air_place.name)
    if why.air_known:
        return f"{now}."
    return words("{air}; no reading bounds it now, so it is taken as not known.", air=now)


def _sensor(told: SensorTold, *, formats: Formats) -> SensorWhyView:
    one = told.watched
    what, series = one.series.what, one.series
    heard = bool(len(series.ts_ms))
    return SensorWhyView(
        measures=MEASURES[what],
        where=(
            formats.words("on this drum")
            if told.place is None
            else formats.words("in {place}", place=told.place)
        ),
        name=one.sensor.name,
        hung_at=one.mount.since,
        last=said(value_said(float(series.value_c[-1]), what=what), formats) if heard else None,
        last_at=from_ms(int(series.ts_ms[-1])) if heard else None,
        error=size_words(one.sensor.error_k, what=what, formats=formats),
        silent=told.silent,
        doubted=told.doubted,
        doubts=tuple(said(seen(doubt, what=what), formats) for doubt in reversed(one.doubts)),
    )


def _film(why: Why, *, formats: Formats) -> str:
    if why.film is None:
        return ""
    view = film_views([why.film.row] if why.film.row is not None else [])[0]
    taken = formats.words(
        "It is taken as {share} of the named {film} W/(m² K), and may lie from {low} to {high} %.",
        share=f"{100.0 * view.factor:.0f} %",
        film=f"{why.film.named.side_w_m2k:.1f}",
        low=f"{100.0 * view.low:.0f}",
        high=f"{100.0 * view.high:.0f}",
    )
    return f"{formats.tongue.say(view.words)} {taken}"


def _heater(heater: Heater | None, *, formats: Formats) -> str:
    if heater is None:
        return ""
    words = formats.words
    what = words("a blanket")
    if heater.watts != 0.0:
        what = words("a heater of {watts} W", watts=f"{heater.watts:.0f}")
    until = words("{heater} until {time}", heater=what, time=formats.when(heater.until))
    if heater.thermostat_c is None:
        return until
    held = "{heater}, held at {temp} by its thermostat"
    return words(held, heater=until, temp=formats.temp(heater.thermostat_c))


def _start(start: Start, *, formats: Formats) -> str:
    words = formats.words
    begun = _begun(start, formats=formats)
    if start.begun is Begun.NOTHING and not start.resolved:
        return f"{begun} {words('Nothing is known of it before somebody measures it.')}"
    if start.doubt_k < _LEAST_DOUBT_K:
        return f"{begun} {words('Nothing is left of that doubt.')}"
    left = formats.fine_difference(0.5 * start.doubt_k)
    doubt = words("That, or a gap since, still leaves {half} either way.", half=left)
    if start.resolved:
        return f"{begun} {doubt}"
    return f"{begun} {doubt} {words('That is too much for it to count as known.')}"


def _begun(start: Start, *, formats: Formats) -> str:
    words, received = formats.words, formats.when(start.received_at)
    measured = formats.temp(start.measured_c)
    air = ""
    if start.air_c is not None and start.origin is not None:
        span = formats.temp_span(start.air_c[0], start.air_c[2])
        before = "the air of {place} over the two days before, {span}"
        air = words(before, place=start.origin, span=span)
    match start.begun:
        case Begun.MEASURED:
            then = "Received {time} and measured then: {temp}."
            return words(then, time=received, temp=measured)
        case Begun.FIRST_MEASUREMENT:
            first = words(
                "Received {time}, not measured; first measured {temp} {later}.",
                time=received,
                temp=measured,
                later=formats.when(start.measured_at),
            )
            rests = words("Before that it rests on {air}.", air=air) if air else ""
            return f"{first} {rests}".strip()
        case Begun.AIR:
            like = "Received {time}, nobody measured it: computed as if it began like {air}."
            return words(like, time=received, air=air)
        case Begun.NOTHING:
            unknown = "Received {time}, not measured, and no air before is on record."
            return words(unknown, time=received)


_LEAST_DOUBT_K: Final = 0.05


def _measured(met: Measurement, *, by: str | None, formats: Formats) -> MeasuredView:
    words = formats.words
    what = words("Skin" if met.on_wall else "Liquid")
    if met.height_m is not None:
        up = formats.length(met.height_m)
        what = words("{what}, {height} above the bottom", what=what, height=up)
    if by is None:
        what = words("{what}, by hand", what=what)
    else:
        what = words("{what}, sensor {name}", what=what, name=by)
    made = met_words(met, formats=formats)
    if met.innovation_k is not None and met.expected_k is not None:
        over = "That is {off} above what was computed; {expected} was to be expected."
        under = "That is {off} below what was computed; {expected} was to be expected."
        off = words(
            over if met.innovation_k > 0.0 else under,
            off=formats.fine_difference(abs(met.innovation_k)),
            expected=formats.fine_difference(met.expected_k),
        )
        made = f"{made} {off}"
    return MeasuredView(at=moment_of(met.step), what=what, words=made)


def _limit(limit: LimitUsed, *, formats: Formats) -> str:
    match limit.unit:
        case "c":
            return formats.temp(limit.value)
        case "share":
            return formats.share(limit.value)
        case "min":
            return formats.words("{number} minutes", number=f"{limit.value:g}")
        case "days":
            return formats.words("{number} days", number=f"{limit.value:g}")


def _properties(why: Why) -> tuple[PropertyRow, ...]:
    return tuple(
        PropertyRow(
            name=_PROPERTIES[used.name][0],
            values=tuple(_figure(value * _PROPERTIES[used.name][1]) for value in used.values),
            origin=used.origin,
        )
        for used in why.properties
    )


def _figure(value: float) -> str:
    """Write a number to three figures, without a power of ten."""
    digits = 0 if abs(value) >= 100.0 else 1 if abs(value) >= 10.0 else 2  # noqa: PLR2004
    return f"{value:.{digits}f}" if abs(value) >= 1.0 else f"{value:.3f}"


def _off(coming: AirToCome, *, formats: Formats) -> Facts:
    return tuple(
        (
            formats.words("{hours} hours ahead", hours=f"{hours}"),
            formats.words("nine in ten within {off}", off=formats.fine_difference(off)),
        )
        for hours, off in zip(LEADS_H, coming.off_k, strict=False)
    )
