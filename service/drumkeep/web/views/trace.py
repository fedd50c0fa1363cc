"""A trace as its page shows it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from drumkeep.operations.ground import Premises
from drumkeep.operations.trace import DrumTrace, PullTrace, SensorTrace, StayTrace, Trace
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.catalogue import Product
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import EventView, LimitView
from drumkeep.web.views.drums import limit_views
from drumkeep.web.views.events import event_views
from drumkeep.web.wording import PLACE_KIND, drums_words

DOUBT_WORDS: Final[Mapping[str, str]] = {
    "sensor_silent": "A sensor was not heard",
    "sensor_stuck": "A sensor stood still",
    "sensor_implausible": "A sensor was not believed",
    "gateway_offline": "A gateway was away",
    "gateway_clock": "The clock of a gateway was wrong",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StayLine:
    """A drum in a place: the bottom from coldest to warmest, and all that it may have been."""

    place: str
    where: str
    since: datetime
    until: datetime | None
    lasted: str
    bottom: str
    mean: str
    within: str
    unknown: str
    apart: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DrumLine:
    """A drum of a trace; ``poured`` and ``pulls`` in sentences, ``end`` what became of it.

    ``pulls`` with the number of each list.
    """

    tag: str
    side: str
    product: str
    lot: str
    stays: tuple[StayLine, ...]
    events: tuple[EventView, ...]
    poured: tuple[str, ...]
    pulls: tuple[tuple[int, str], ...]
    cold: str
    end: str
    claim: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorLine:
    """A sensor of the air, where it hung, and how far off it may be."""

    name: str
    place: str
    since: datetime
    until: datetime | None
    error: str
    corrected: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtLine:
    """When what a sensor told was missing or not believed."""

    words: str
    since: datetime
    until: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsLine:
    """The limits of a product, each with where it comes from."""

    product: str
    limits: tuple[LimitView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceView:
    """A trace; ``lots`` as words, product and code, ``used`` where its drums were used."""

    drums: tuple[DrumLine, ...]
    receivers: tuple[DrumLine, ...]
    lots: tuple[tuple[str, str, str], ...]
    used: tuple[str, ...]
    sensors: tuple[SensorLine, ...]
    doubts: tuple[DoubtLine, ...]
    limits: tuple[LimitsLine, ...]


def trace_view(trace: Trace, *, premises: Premises, formats: Formats) -> TraceView:
    """Return a trace as its page shows it."""
    places = {place.id: place.name for place in premises.places.values()}
    every = (*trace.drums, *trace.receivers)
    products = {drum.row.product.id: drum.row.product for drum in every}
    return TraceView(
        drums=tuple(_drum(drum, places=places, formats=formats) for drum in trace.drums),
        receivers=tuple(_drum(drum, places=places, formats=formats) for drum in trace.receivers),
        lots=tuple(
            (f"{drums_words(n)} of lot {lot.code}, {product.name}", product.code, lot.code)
            for lot, product, n in trace.lots
        ),
        used=tuple(dict.fromkeys(_used(stay, formats) for drum in every for stay in drum.used_at)),
        sensors=tuple(_sensor(told, formats=formats) for told in trace.sensors),
        doubts=tuple(_doubt(alarm, places=places) for alarm in trace.doubts),
        limits=tuple(
            LimitsLine(product=row.name, limits=_limits(row)) for row in products.values()
        ),
    )


def _limits(row: Product) -> tuple[LimitView, ...]:
    product = as_product(row)
    stored = (("Store from", "storage_low_c"), ("Store to", "storage_high_c"))
    return (
        *(
            LimitView(name=words, c=getattr(product.limits, name), origin=product.origin(name))
            for words, name in stored
        ),
        *limit_views(product),
    )


def _used(stay: StayTrace, formats: Formats) -> str:
    kind = formats.tongue.say(PLACE_KIND[stay.place.kind])
    return f"{stay.place.name} ({kind}, {stay.site.name})"


def _drum(drum: DrumTrace, *, places: Mapping[int, str], formats: Formats) -> DrumLine:
    row = drum.row
    there = formats.at(row.site.timezone)
    poured = [
        f"{pour.tag} of lot {pour.lot} was poured into it, {there.when(pour.at)}."
        for pour in drum.poured_in
    ]
    poured += [
        f"Some of it was poured into {pour.tag} of lot {pour.lot}, {there.when(pour.at)}."
        for pour in drum.poured_out
    ]
    cold = None if row.estimate is None else row.estimate.was_cold_c
    hours = 0.0 if row.estimate is None else row.estimate.was_cold_hours or 0.0
    return DrumLine(
        tag=row.drum.tag,
        side=row.product.side,
        product=row.product.name,
        lot=row.lot.code,
        stays=tuple(_stay(stay, formats=formats) for stay in drum.stays),
        events=event_views(drum.events, places=places, formats=there),
        poured=tuple(poured),
        pulls=tuple((pull.pull_id, _pull(pull, formats=there)) for pull in drum.pulls),
        cold=""
        if cold is None
        else f"Was cold: {formats.temp(cold)} at the lowest, {hours:.1f} h in sum under its limit.",
        end="" if row.drum.ended is None else f"It was {row.drum.ended}.",
        claim=drum.claim_id,
    )


def _pull(pull: PullTrace, *, formats: Formats) -> str:
    wanted = "at once" if pull.wanted_at is None else formats.when(pull.wanted_at)
    if pull.taken_at is None:
        return f"On list {pull.pull_id}, wanted {wanted}, not taken."
    taken = formats.when(pull.taken_at)
    return f"On list {pull.pull_id}, wanted {wanted}, taken by {pull.taken_by}, {taken}."


def _stay(stay: StayTrace, *, formats: Formats) -> StayLine:
    span = stay.span
    return StayLine(
        place=f"{stay.site.code}/{stay.place.code}",
        where=f"{stay.place.name}, {stay.site.name}",
        since=stay.since,
        until=stay.until,
        lasted=hours_words(span.hours),
        bottom=formats.span(span.bottom_min_c, span.bottom_max_c),
        mean=formats.degrees(span.bottom_mean_c),
        within=formats.span(span.low_c, span.high_c),
        unknown=hours_words(span.unknown_h),
        apart=hours_words(span.apart_h),
    )


def hours_words(hours: float) -> str:
    """Return hours as people write them: ``no time``, ``40 min``, ``3.5 h``, ``12 days``."""
    if hours * 60.0 < 0.5:  # noqa: PLR2004 - of a minute
        return "no time"
    if hours < 1.0:
        return f"{hours * 60.0:.0f}\N{NO-BREAK SPACE}min"
    if hours < 72.0:  # noqa: PLR2004 - three days are still told in hours
        return f"{hours:.1f}".removesuffix(".0") + "\N{NO-BREAK SPACE}h"
    return f"{hours / 24.0:.0f}\N{NO-BREAK SPACE}days"


def _sensor(told: SensorTrace, *, formats: Formats) -> SensorLine:
    last = told.calibrations[-1] if told.calibrations else None
    return SensorLine(
        name=told.sensor.name,
        place=told.place.name,
        since=told.mount.since,
        until=told.mount.until,
        error=formats.fine_difference(told.sensor.error_k),
        corrected="as it came"
        if last is None
        else f"times {last.gain:g} plus {last.offset:g}, since {formats.when(last.since)}",
    )


def doubt_words(kind: str, place: str | None) -> str:
    """Say what was missing or not believed, and where."""
    return DOUBT_WORDS[kind] if place is None else f"{DOUBT_WORDS[kind]}: {place}"


def _doubt(alarm: Alarm, *, places: Mapping[int, str]) -> DoubtLine:
    where = None if alarm.place_id is None else places.get(alarm.place_id)
    return DoubtLine(
        words=doubt_words(alarm.kind, where), since=alarm.raised_at, until=alarm.returned_at
    )
