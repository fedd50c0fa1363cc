"""What is on record as rows for a spreadsheet, in the columns that an import takes.

Texts are kept from being formulas, times are ISO 8601 in UTC, units stand in the header. Rows come
as they are asked for, so that a long past needs no memory.
"""

import csv
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import chain
from json import dumps
from typing import Any, Final, TextIO

from drumkeep.domain.events import effective
from drumkeep.domain.grid import from_ms, to_ms
from drumkeep.domain.spreadsheets import escaped
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.sheet_rows import FIGURES
from drumkeep.storage import catalogue, readings
from drumkeep.storage import drums as drum_rows
from drumkeep.storage.transaction import Tx

_AT_ONCE: Final = 500
_PLACES: Final = frozenset({"place", "from", "to"})

Row = Sequence[object]


@dataclass(frozen=True, slots=True)
class Table:
    """Headers and rows of an export."""

    headers: Sequence[str]
    rows: Iterable[Row]


@dataclass(frozen=True, slots=True)
class Asked:
    """Which part of it: of one site by its code, from a time until another."""

    site: str | None = None
    start: datetime | None = None
    end: datetime | None = None


ALL: Final = Asked()


def write(table: Table, file: TextIO, *, line_end: str = "\r\n") -> None:
    """Write a table into a file as CSV (RFC 4180 where lines end as it says)."""
    writer = csv.writer(file, lineterminator=line_end)
    writer.writerow(table.headers)
    writer.writerows([_cell(value) for value in row] for row in table.rows)


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return escaped(value) if isinstance(value, str) else str(value)


def _pages(page: Callable[[int], Sequence[Any]]) -> Iterator[Sequence[Any]]:
    """Yield all pages; each begins after the last id of the one before."""
    after = 0
    while rows := page(after):
        yield rows
        after = rows[-1].id


def _all(page: Callable[[int], Sequence[Any]]) -> Iterator[Any]:
    """Yield the rows of all pages."""
    return chain.from_iterable(_pages(page))


def export_products(tx: Tx, _asked: Asked = ALL) -> Table:
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


def export_lots(tx: Tx, _asked: Asked = ALL) -> Table:
    """Return the lots with their dates."""
    products = {one.id: one.code for one in _all(lambda a: catalogue.list_products(tx, after=a))}

    def rows() -> Iterator[Row]:
        for one in _all(lambda after: catalogue.list_lots(tx, after=after)):
            yield [products[one.product_id], one.code, one.made_on, one.expires_on]

    return Table(["product", "lot", "made on", "expires on"], rows())


def export_drums(tx: Tx, asked: Asked = ALL) -> Table:
    """Return drums: their receipts, as an import takes them, and where they are now."""
    here = _places_of(tx, asked.site)
    places = {one.id: one for one in _all(lambda a: catalogue.list_places(tx, after=a))}
    named = catalogue.place_references(tx, ids=list(places))

    def rows() -> Iterator[Row]:
        after = 0
        while some := drum_rows.list_drums(
            tx, place_ids=here, present=False, after=after, limit=_AT_ONCE
        ):
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


def export_places(tx: Tx, asked: Asked = ALL) -> Table:
    """Return the places."""
    sites = {one.id: one.code for one in _all(lambda a: catalogue.list_sites(tx, after=a))}

    def rows() -> Iterator[Row]:
        for one in _all(lambda after: catalogue.list_places(tx, site=asked.site, after=after)):
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


def export_events(tx: Tx, asked: Asked = ALL) -> Table:
    """Return what happened to each drum, as recorded; places in ``data`` by site and code.

    Those of a site are of the drums that are there now.
    """
    here = _places_of(tx, asked.site)
    named = catalogue.place_references(
        tx, ids=[one.id for one in _all(lambda a: catalogue.list_places(tx, after=a))]
    )

    def rows() -> Iterator[Row]:
        after = 0
        while some := drum_rows.list_drums(
            tx, place_ids=here, present=False, after=after, limit=_AT_ONCE
        ):
            after = some[-1].drum.id
            logs = drum_rows.event_rows_of(tx, drum_ids=[one.drum.id for one in some])
            for one in some:
                for event in logs[one.drum.id]:
                    if not _within(event.at, asked):
                        continue
                    data = dumps(_by_name(event.data, named), sort_keys=True)
                    told = [event.at, event.kind, data, event.note]
                    yield [one.drum.tag, *told, event.by, event.recorded_at, str(event.id)]

    return Table(["tag", "at", "kind", "data", "note", "by", "recorded at", "id"], rows())


def export_sensors(tx: Tx, _asked: Asked = ALL) -> Table:
    """Return the sensors, and where each hangs now: a place or a drum's tag."""
    places = catalogue.place_references(
        tx, ids=[one.id for one in _all(lambda a: catalogue.list_places(tx, after=a))]
    )

    def rows() -> Iterator[Row]:
        for some in _pages(lambda after: catalogue.list_sensors(tx, after=after)):
            mounts = catalogue.mounts_of(tx, sensor_ids=[one.id for one in some])
            hanging = {mount.sensor_id: mount for mount in mounts if mount.until is None}
            on_drums = [m.drum_id for m in hanging.values() if m.drum_id is not None]
            tags = drum_rows.tags_by_id(tx, ids=on_drums)
            for one in some:
                where: list[object] = [None, None, None]
                if (now := hanging.get(one.id)) is not None:
                    in_drum = now.drum_id
                    named = places[now.place_id or 0] if in_drum is None else tags[in_drum]
                    where = [named, now.what, now.since]
                yield [one.name, one.quantity, one.unit, one.interval_s, one.error_k, *where]

    headers = ["sensor", "quantity", "unit", "read every [s]", "own error [K]"]
    return Table([*headers, "hangs in", "measures", "since"], rows())


def export_readings(tx: Tx, asked: Asked = ALL) -> Table:
    """Return readings as the sensors gave them, a line each."""
    start, end = (None if at is None else to_ms(at) for at in (asked.start, asked.end))
    found = readings.every(tx, start_ms=start, end_ms=end, site=asked.site)
    rows = ([from_ms(ts), name, value, unit] for ts, name, value, unit in found)
    return Table(["time", "name", "value", "unit"], rows)


def _places_of(tx: Tx, site: str | None) -> list[int] | None:
    if site is None:
        return None
    return [one.id for one in _all(lambda a: catalogue.list_places(tx, site=site, after=a))]


def _within(at: datetime, asked: Asked) -> bool:
    return (asked.start is None or at >= asked.start) and (asked.end is None or at < asked.end)


def _by_name(data: Mapping[str, Any], named: Mapping[int, str]) -> dict[str, Any]:
    def said(name: str, value: object) -> object:
        if name == "data" and isinstance(value, dict):  # what a correction says instead
            return _by_name(value, named)
        return named.get(value, value) if name in _PLACES and isinstance(value, int) else value

    return {name: said(name, value) for name, value in data.items()}


EXPORTS: Final[Mapping[str, Callable[[Tx, Asked], Table]]] = {
    "drums": export_drums,
    "lots": export_lots,
    "products": export_products,
    "events": export_events,
    "places": export_places,
    "sensors": export_sensors,
    "readings": export_readings,
}
"""What can be exported."""

_OF_A_SITE: Final = frozenset({"drums", "events", "places", "readings"})
_OF_A_TIME: Final = frozenset({"events", "readings"})


def export(tx: Tx, *, noun: str, asked: Asked) -> Table:
    """Return what was asked for.

    Raises
    ------
    Invalid
        There is no such site, or what is asked for has no site or no time to be chosen by.
    """
    faults = []
    if asked.site is not None:
        if noun not in _OF_A_SITE:
            faults.append(Fault("site", asked.site, f"cannot choose among {noun}", "Leave it out."))
        elif catalogue.site_by_code(tx, code=asked.site) is None:
            faults.append(Fault("site", asked.site, "is not known", "Give the code of a site."))
    for name, at in (("start", asked.start), ("end", asked.end)):
        if at is not None and noun not in _OF_A_TIME:
            problem = f"cannot choose among {noun}"
            faults.append(Fault(name, at.isoformat(), problem, "Leave it out."))
    if faults:
        raise Invalid("That cannot be exported so.", faults)
    return EXPORTS[noun](tx, asked)
