"""Drums and groups of drums as the floor draws them, from their short rows."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, cast

from drumkeep.domain.drums import depth_m
from drumkeep.domain.glances import GRAVITY
from drumkeep.domain.grid import from_ms
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import OutputClass, Product
from drumkeep.operations.ground import Premises
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.glances import Glimpse, Tally
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Lot, Place, Site
from drumkeep.storage.tables.catalogue import Product as ProductRow
from drumkeep.storage.transaction import Tx
from drumkeep.thermal.geometry import DRUM_INSIDE_HEIGHT_M
from drumkeep.thermal.parameter_sets import LIKELY
from drumkeep.thermal.stratified import eighths
from drumkeep.web.drum_words import marks_of
from drumkeep.web.view_models import (
    Basis,
    ConditionName,
    DrumView,
    GroupView,
    LimitView,
    Phrase,
    ReadinessName,
    SideName,
)
from drumkeep.web.views.drums import limit_views

_HIGHEST: Final = 1e9


@dataclass(frozen=True)
class _Kind:
    """A product, with what its drums have in common."""

    row: ProductRow

    @cached_property
    def product(self) -> Product:
        return as_product(self.row)

    @cached_property
    def limits(self) -> tuple[LimitView, ...]:
        return limit_views(self.product)


class Stock:
    """Lots, products and places by id, to tell of drums by their short rows.

    Parameters
    ----------
    tx
        Any transaction.
    premises
        The catalogue of places.
    lot_ids
        The lots that will be told of.
    """

    def __init__(self, tx: Tx, *, premises: Premises, lot_ids: Sequence[int]) -> None:
        found = drum_rows.lots_and_products(tx, lot_ids=lot_ids)
        self._ground = premises
        self._lots = {lot_id: lot for lot_id, (lot, _) in found.items()}
        kinds = {product.id: _Kind(product) for _, product in found.values()}
        self._kinds = {lot_id: kinds[product.id] for lot_id, (_, product) in found.items()}

    def lot_order(self, lot_id: int) -> tuple[str, str, str]:
        """Return by what the lots on a shelf are ordered."""
        kind = self._kinds[lot_id].row
        return kind.side, kind.name, self._lots[lot_id].code

    def limits(self, lot_ids: Sequence[int]) -> list[LimitView]:
        """Return the limits to which lots are held."""
        return [limit for lot_id in lot_ids for limit in self._kinds[lot_id].limits]

    def drum(self, row: Glimpse, *, output: OutputClass | None) -> DrumView:
        """Return a drum, without its sentences."""
        place = self._ground.places[row.place_id]
        return _drum(
            row,
            kind=self._kinds[row.lot_id],
            lot=self._lots[row.lot_id],
            place=place,
            site=self._ground.sites[place.site_id],
            output=output or OutputClass(row.output),
        )

    def group(
        self, alike: Sequence[Tally], *, gravest: DrumView, drums: Sequence[DrumView]
    ) -> GroupView:
        """Return the drums of one lot in one place.

        Parameters
        ----------
        alike
            What is counted of them, the next to use first.
        gravest
            The drum that stands for all.
        drums
            Those to be drawn singly.
        """
        kind = self._kinds[alike[0].lot_id].row
        counts: dict[str, int] = defaultdict(int)
        marks: dict[str, int] = defaultdict(int)
        for some in alike:
            counts[some.state] += some.count
            for words in marks_of(
                _split(some.conditions), answer=cast("Phrase", some.answer), too_hot=some.too_hot
            ):
                marks[words] += some.count
        waiting = [(some.soonest_ms, some.soonest_in) for some in alike if some.soonest_ms]
        soonest = min(waiting, key=lambda w: w[0] or 0, default=None)
        size = sum(counts.values())
        return GroupView(
            lot=self._lots[alike[0].lot_id].code,
            product=kind.name,
            side=cast("SideName", kind.side),
            size=size,
            gravest=gravest,
            by_readiness=tuple((name, counts[name]) for name in GRAVITY if counts.get(name)),
            marks=tuple(marks.items()),
            coldest_c=_coldest(alike),
            soonest=None if soonest is None else (from_ms(soonest[0] or 0), soonest[1]),
            drums=(gravest,) if size == 1 else tuple(drums),
        )


def _coldest(alike: Sequence[Tally]) -> tuple[float, float, float] | None:
    bottoms = [some.bottom_c for some in alike if some.bottom_c is not None]
    lows = [some.low_c for some in alike if some.low_c is not None]
    highs = [some.high_c for some in alike if some.high_c is not None]
    return (min(bottoms), min(lows), max(highs)) if bottoms and lows and highs else None


def _split(conditions: str) -> tuple[ConditionName, ...]:
    return cast("tuple[ConditionName, ...]", tuple(filter(None, conditions.split(","))))


def _drum(
    row: Glimpse, *, kind: _Kind, lot: Lot, place: Place, site: Site, output: OutputClass
) -> DrumView:
    product = kind.product
    soonest = None if row.soonest_ms is None else from_ms(row.soonest_ms)
    elsewhere = row.soonest_in is not None
    return DrumView(
        tag=row.tag,
        side=cast("SideName", kind.row.side),
        product=kind.row.name,
        product_code=kind.row.code,
        lot=lot.code,
        place=place.name,
        place_code=f"{site.code}/{place.code}",
        place_kind=place.kind,
        site=site.name,
        timezone=site.timezone,
        fill=min(depth_m(row.net_kg, product=product) / DRUM_INSIDE_HEIGHT_M, 1.0),
        net_kg=row.net_kg,
        readiness=cast("ReadinessName", row.state),
        answer=cast("Phrase", row.answer),
        use_band_c=product.limits.use_band(output),
        storage_band_c=(product.limits.storage_low_c, product.limits.storage_high_c),
        output_class=output.value,
        layers_c=_layers(row.record) if row.basis is not None else None,
        bottom_c=row.bottom_c,
        mean_c=row.mean_c,
        low_c=row.low_c,
        high_c=row.high_c,
        basis=cast("Basis | None", row.basis),
        ready_at=None if elsewhere else soonest,
        ready_in_warm_room_at=soonest if elsewhere else None,
        warm_room=row.soonest_in,
        conditions=_split(row.conditions),
        limits=kind.limits,
        too_hot=row.too_hot,
        warming=place.kind == PlaceKind.WARM_ROOM and row.state == "too_cold",
    )


def _layers(record: bytes | None) -> tuple[float, ...] | None:
    if record is None:
        return None
    layers = states_from_bytes([record])["layers"][0, LIKELY]
    return tuple(float(c) for c in eighths(layers))


def by_group(rows: Sequence[Glimpse]) -> Mapping[tuple[int, int], list[Glimpse]]:
    """Return rows by place and lot, in the order given."""
    found: dict[tuple[int, int], list[Glimpse]] = defaultdict(list)
    for row in rows:
        found[row.place_id, row.lot_id].append(row)
    return found
