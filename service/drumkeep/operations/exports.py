"""What is on record as rows for a spreadsheet, in the columns that an import takes.

Texts are kept from being formulas, times are ISO 8601 in UTC, units stand in the header. Rows come
as they are asked for, so that a long past needs no memory.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from json import dumps
from typing import Any, Final

from drumkeep.domain.events import effective
from drumkeep.domain.grid import from_ms
from drumkeep.domain.spreadsheets import escaped
from drumkeep.operations.sheet_rows import FIGURES
from drumkeep.storage import catalogue, readings
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.transaction import Tx

_AT_ONCE: Final = 500

Row = Sequence[object]


@dataclass(frozen=True, slots=True)
class Table:
    """Headers and rows of an export."""

    headers: Sequence[str]
    rows: Iterable[Row]


def cells(row: Row) -> list[str]:
    """Return a row as it is written into a file."""
    return [_cell(value) for value in row]


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return escaped(value) if isinstance(value, str) else str(value)


def _all(page: Callable[[int], Sequence[Any]]) -> Iterator[Any]:
    """Yield the rows of all pages; each begins after the last id of the one before."""
    after = 0
    while rows := page(after):
        yield from rows
        after = rows[-1].id


def export_products(tx: Tx) -> Table:
    """Return the products with what their data sheets state; a blank is the default of the side."""

    def rows() -> Iterator[Row]:
        for one in _all(lambda after: catalogue.list_products(tx, after=after)):
            stated = {**one.properties, **one.limits}
            further = {name: value for name, value in stated.items() if name not in FIGURES}
            figures = [stated.get(name) for name in FIGURES]
            objects = [dumps(each) if each else None for each in (further, one.origins)]
            yield [one.code, one.name, one.side, one.cell, one.system, *figures, *objects]

    headers = ["product", "name", "side", "cell", "system", *map(_headed, FIGURES)]
    return Table([*headers, "further figures", "origins"], rows())


def _headed(figure: str) -> str:
    if figure == "net_kg":
        return "net_kg [kg]"
    return f"{figure} [°C]" if figure.endswith("_c") else figure


def export_lots(tx: Tx) -> Table:
    """Return the lots with their dates."""
    products = {one.id: one.code for one in _all(lambda a: catalogue.list_products(tx, after=a))}

    def rows() -> Iterator[Row]:
        for one in _all(lambda after: catalogue.list_lots(tx, after=after)):
            yield [products[one.product_id], one.code, one.made_on, one.expires_on]

    return Table(["product", "lot", "made on", "expires on"], rows())


def export_drums(tx: Tx) -> Table:
    """Return all drums: their receipts, as an import takes them, and where they are now."""
    places = {one.id: one for one in _all(lambda a: catalogue.list_places(tx, after=a))}
    named = catalogue.place_references(tx, ids=list(places))

    def rows() -> Iterator[Row]:
        after = 0
        while some := drum_rows.list_drums(tx, present=False, after=after, limit=_AT_ONCE):
            after = some[-1].drum.id
            log = drum_rows.events_of(tx, drum_ids=[one.drum.id for one in some])
            for one in some:
                first = effective(log[one.drum.id])[0]
                data, drum = first.data, one.drum
                receipt = [first.at, data.get("net_kg"), data.get("liquid_c"), one.product.side]
                origin, made_on = named.get(data.get("from", 0)), data.get("made_on")
                more = [origin, made_on, drum.tare_kg, drum.share, data.get("un_mark"), first.note]
                at_receipt = [drum.tag, one.product.code, one.lot.code, named[data["place"]]]
                yield [*at_receipt, *receipt, *more, named[drum.place_id], drum.net_kg, drum.ended]

    headers = ["tag", "product", "lot", "place", "received", "net mass [kg]"]
    headers += ["liquid temperature [°C]", "side", "came from", "made on", "tare [kg]", "share"]
    return Table([*headers, "un mark", "note", "now in", "now holds (kg)", "ended"], rows())


def export_places(tx: Tx) -> Table:
    """Return the places."""
    sites = {one.id: one.code for one in _all(lambda a: catalogue.list_sites(tx, after=a))}

    def rows() -> Iterator[Row]:
        for one in _all(lambda after: catalogue.list_places(tx, after=after)):
            where = f"{sites[one.site_id]}/{one.code}"
            yield [
                where,
                one.name,
                one.kind,
                one.motion,
                one.standing,
                one.set_point_c,
                one.capacity,
            ]

    headers = ["place", "name", "kind", "motion", "standing", "set point [°C]", "capacity [drums]"]
    return Table(headers, rows())


def export_events(tx: Tx) -> Table:
    """Return what happened to each drum, as recorded; places in ``data`` by site and code."""
    named = catalogue.place_references(
        tx, ids=[one.id for one in _all(lambda a: catalogue.list_places(tx, after=a))]
    )

    def rows() -> Iterator[Row]:
        after = 0
        while some := drum_rows.list_drums(tx, present=False, after=after, limit=_AT_ONCE):
            after = some[-1].drum.id
            for one in some:
                for event in drum_rows.event_rows(tx, drum_id=one.drum.id):
                    data = dumps(_by_name(event.data, named), sort_keys=True)
                    told = [event.at, event.kind, data, event.note]
                    yield [one.drum.tag, *told, event.by, event.recorded_at, str(event.id)]

    return Table(["tag", "at", "kind", "data", "note", "by", "recorded at", "id"], rows())


def export_readings(tx: Tx) -> Table:
    """Return all readings as the sensors gave them, a line each."""
    rows = ([from_ms(ts), name, value, unit] for ts, name, value, unit in readings.every(tx))
    return Table(["time", "name", "value", "unit"], rows)


def _by_name(data: Mapping[str, Any], named: Mapping[int, str]) -> dict[str, Any]:
    return {
        name: named.get(value, value)
        if name in {"place", "from", "to"} and isinstance(value, int)
        else value
        for name, value in data.items()
    }


EXPORTS: Final[Mapping[str, Callable[[Tx], Table]]] = {
    "drums": export_drums,
    "lots": export_lots,
    "products": export_products,
    "events": export_events,
    "places": export_places,
    "readings": export_readings,
}
"""What can be exported."""
