"""One drum as every page shows it."""

from collections.abc import Mapping
from datetime import date, datetime, time
from typing import Any, Final, cast
from zoneinfo import ZoneInfo

from drumkeep.domain.drums import depth_m
from drumkeep.domain.grid import moment_of
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import OutputClass, Product, Side
from drumkeep.domain.readiness import Answer
from drumkeep.operations.verdict_records import UNCOMPUTED, from_iso
from drumkeep.storage.drums import StockRow
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Lot
from drumkeep.storage.tables.estimates import Estimate
from drumkeep.thermal.geometry import DRUM_INSIDE_HEIGHT_M
from drumkeep.thermal.parameter_sets import LIKELY
from drumkeep.thermal.stratified import eighths
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import (
    Basis,
    ConditionName,
    DrumView,
    LimitView,
    Phrase,
    ReadinessName,
    SideName,
)
from drumkeep.web.views.sentences import all_said

_LIMIT_WORDS: Final = {
    "seed_c": "Seeding",
    "deep_seed_c": "Seeds within minutes",
    "redissolve_c": "Solids dissolve from",
    "gassing_c": "Gassing above",
    "maximum_c": "Maximum",
}
_ISO_LIMITS: Final = ("seed_c", "deep_seed_c", "redissolve_c", "maximum_c")
_RESIN_LIMITS: Final = ("gassing_c", "maximum_c")

_ENDS: Final[Mapping[str, str]] = {
    "emptied": "This drum was emptied.",
    "disposed": "This drum was disposed.",
}
_GONE: Final[Mapping[str, Any]] = {
    "state": "on_hold",
    "advice": ["Take another drum, and tell the manager that this one still bears its label."],
}


def output_of(row: StockRow, asked: OutputClass | None = None) -> OutputClass:
    """Return the output class a drum is judged for: asked, wanted, or its site's."""
    return asked or OutputClass(row.drum.wanted_output or row.site.output_class)


def verdict_of(row: StockRow, *, output: OutputClass) -> Mapping[str, Any]:
    """Return the stored verdict on a drum for an output class; of one that is gone, that it is."""
    if row.drum.ended is not None:
        return {**UNCOMPUTED, **_GONE, "reasons": [_ENDS[row.drum.ended]]}
    return row.estimate.verdicts[output.value] if row.estimate is not None else UNCOMPUTED


def ready_times(verdict: Mapping[str, Any]) -> tuple[datetime | None, datetime | None]:
    """Return when a drum will be ready where it stands, and in the nearest warm room.

    A drum that is too warm is not sent to a warm room, though that may be the cooler place.
    """
    here, warm = (from_iso(verdict[name]) for name in ("ready_at", "ready_in_warm_room_at"))
    return here, None if verdict["state"] == "too_warm" else warm


def drum_view(
    row: StockRow,
    *,
    formats: Formats,
    output: OutputClass | None = None,
    product: Product | None = None,
    worded: bool = True,
) -> DrumView:
    """Return a drum as pages show it.

    Parameters
    ----------
    row
        The drum with all that is stored of it.
    formats
        The viewer's units; the site's own zone is used for times.
    output
        Judge it for this output class instead of the wanted one or its site's.
    product
        Its product, where the caller has it at hand for many drums.
    worded
        Whether reasons, advice and cautions will be read; writing them takes a third of the time.
    """
    local = formats.at(row.site.timezone)
    product = product or as_product(row.product)
    chosen = output_of(row, output)
    verdict = verdict_of(row, output=chosen)
    estimate = None if row.drum.ended else row.estimate
    known = estimate is not None and estimate.basis is not None
    depth = depth_m(row.drum.net_kg, product=product)
    ready_at, ready_in_warm_room_at = ready_times(verdict)
    reasons, advice, cautions = (
        all_said(verdict[name], local) if worded else ()
        for name in ("reasons", "advice", "cautions")
    )
    zone = ZoneInfo(row.site.timezone)
    return DrumView(
        tag=row.drum.tag,
        side=cast("SideName", row.product.side),
        product=row.product.name,
        product_code=row.product.code,
        lot=row.lot.code,
        place=row.place.name,
        place_code=f"{row.site.code}/{row.place.code}",
        place_kind=row.place.kind,
        site=row.site.name,
        timezone=row.site.timezone,
        fill=min(depth / DRUM_INSIDE_HEIGHT_M, 1.0),
        net_kg=row.drum.net_kg,
        readiness=cast("ReadinessName", verdict["state"]),
        answer=cast("Phrase", verdict["answer"]),
        use_band_c=product.limits.use_band(chosen),
        storage_band_c=(product.limits.storage_low_c, product.limits.storage_high_c),
        output_class=chosen.value,
        reasons=reasons,
        advice=advice,
        cautions=tuple(caution for caution in cautions if caution not in reasons),
        ready_at=ready_at,
        ready_from=from_iso(verdict["ready_from"]),
        warm_room=verdict["warm_room"],
        ready_in_warm_room_at=ready_in_warm_room_at,
        ready_in_warm_room_from=from_iso(verdict["ready_in_warm_room_from"]),
        conditions=cast(
            "tuple[ConditionName, ...]", tuple(estimate.conditions if estimate else ())
        ),
        mix_first=verdict["advice"][:1] != [] and verdict["advice"][0].startswith("Mix"),
        tight=any(line.startswith("Never heat") for line in verdict["cautions"]),
        limits=limit_views(product),
        ended=row.drum.ended,
        wanted_at=None if row.drum.ended else row.drum.wanted_at,
        made_on=_noon(row.lot.made_on, zone),
        expires_on=_expiry(row.lot, product=product, zone=zone),
        too_hot=(
            estimate is not None
            and verdict["answer"] == Answer.DO_NOT_OPEN
            and (estimate.high_c or 0.0) > product.limits.maximum_c
        ),
        warming=row.place.kind == PlaceKind.WARM_ROOM and verdict["state"] == "too_cold",
        **(_liquid(estimate) if estimate is not None and known else {}),
    )


def _liquid(estimate: Estimate) -> dict[str, Any]:
    record = states_from_bytes([estimate.state])
    return {
        "layers_c": tuple(float(c) for c in eighths(record["layers"][0, LIKELY])),
        "unmeasured": not record["resolved"],
        "bottom_c": estimate.bottom_c,
        "mean_c": estimate.mean_c,
        "top_c": estimate.top_c,
        "low_c": estimate.low_c,
        "high_c": estimate.high_c,
        "basis": cast("Basis", estimate.basis),
        "computed_at": moment_of(estimate.step),
        "supported_to": estimate.supported_to,
        "pressure_kpa": estimate.pressure_kpa,
        "start_by": from_iso(estimate.outlook.get("start_by")),
    }


def limit_views(product: Product) -> tuple[LimitView, ...]:
    """Return the limits of a product that are not bands, with where each comes from."""
    names = _ISO_LIMITS if product.side is Side.ISO else _RESIN_LIMITS
    return tuple(
        LimitView(
            name=_LIMIT_WORDS[name],
            c=getattr(product.limits, name),
            origin=product.origin(name),
        )
        for name in names
    )


def _noon(day: date, zone: ZoneInfo) -> datetime:
    """Return the middle of a day of the site's calendar."""
    return datetime.combine(day, time(12), tzinfo=zone)


def _expiry(lot: Lot, *, product: Product, zone: ZoneInfo) -> datetime:
    expires_at = product.expires_at(made_on=lot.made_on, expires_on=lot.expires_on)
    return _noon(expires_at.date(), zone)
