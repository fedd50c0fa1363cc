"""A company of many sites in a database, each with a gateway, five places, sensors and drums."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, TypeVar
from uuid import uuid4

from sqlmodel import SQLModel

from drumkeep.domain.events import EventKind
from drumkeep.domain.grid import to_ms
from drumkeep.domain.products import Side
from drumkeep.domain.roles import Role
from drumkeep.domain.sharing import home
from drumkeep.operations import lots, products
from drumkeep.operations.drums import By, Happening, log_happening
from drumkeep.operations.receipts import Receipt, log_receipts
from drumkeep.storage import partitions, readings
from drumkeep.storage.engine import Engine
from drumkeep.storage.partitions import Month
from drumkeep.storage.readings import hour_of
from drumkeep.storage.tables.catalogue import Gateway, Mount, Place, Sensor, Site
from drumkeep.storage.transaction import Tx, transaction
from drumkeep_wire.records import Record, Spool
from drumkeep_wire.senml import encode_pack
from drumkeep_wire.topics import Topics

PLACES: Final = 5
"""Of a site; its sensors hang in them by turns. The last is its warm room."""

SET_POINT_C: Final = 24.0

WANTED_EACH: Final = 10
"""One drum in so many is wanted tomorrow: for it is told when it must go into the warm room."""

FIRST_SITES: Final = 20
FIRST_DRUMS: Final = 1000
"""Received as people do; the other sites have copies of what people recorded of them."""

RECEIVED_H: Final = 3.0
"""Hours ago every drum was received."""

WANTED_IN_H: Final = 20.0

INTERVAL_S: Final = 300
_WARM_C: Final = SET_POINT_C - 0.3
_COLD_C: Final = 12.0
_APART_K: Final = 2.0
_AT_ONCE: Final = 500
_BY: Final = By(name="Benchmark", role=Role.MANAGER)
_TOPICS: Final = Topics()
_SPOOL: Final = "5ca1ab1e"
_Item = TypeVar("_Item")


@dataclass(frozen=True)
class OneSite:
    """A site: its code, its places, and its sensors' ids and names."""

    code: str
    places: tuple[int, ...]
    sensors: tuple[tuple[int, str], ...]

    @property
    def urn(self) -> str:
        """Name of its gateway."""
        return f"urn:dev:os:32473-{self.code}"

    def slot(self, slots: int) -> int:
        """Return which of so many sessions takes its messages."""
        return home(self.code, slots=slots)


@dataclass(frozen=True)
class Company:
    """All sites, and the tags of all drums."""

    sites: tuple[OneSite, ...]
    tags: tuple[str, ...]


def build(
    engine: Engine, *, sites: int, sensors: int, drums: int, now: datetime, air_h: float = 24.0
) -> Company:
    """Make the company, with some hours of air behind it, a reading every five minutes."""
    with transaction(engine) as tx:
        made = _make_sites(tx, sites=sites, sensors_each=sensors // sites, now=now)
    for some in _portions(made, _AT_ONCE // 5):
        with transaction(engine) as tx:  # a statement may take two minutes
            _send_past(tx, some, hours=air_h, now=now)
    with transaction(engine) as tx:
        for side in Side:
            products.create_product(tx, code=side, name=f"Our {side}", side=side)
            lots.create_lot(
                tx, product=side, code="1", made_on=now.date() - timedelta(days=60), now=now
            )
    sides, tags = list(Side), []
    first = min(drums, FIRST_DRUMS)
    for numbers in _portions(range(first), _AT_ONCE):
        receipts = [
            Receipt(
                event_id=uuid4(),
                product=sides[n % 2],
                lot="1",
                place=made[n % FIRST_SITES].places[n // FIRST_SITES % PLACES],
                at=now - timedelta(hours=RECEIVED_H),
                liquid_c=15.0 + n % 12,
            )
            for n in numbers
        ]
        with transaction(engine) as tx:
            received, _ = log_receipts(tx, receipts=receipts, by=_BY, now=now)
            for drum in received[::WANTED_EACH]:
                _want(tx, tag=drum.tag, now=now)
            tags += [drum.tag for drum in received]
    copies = min(drums // max(first, 1), sites // FIRST_SITES) - 1
    _multiply(engine, copies=copies, drums=first)
    return Company(tuple(made), tuple(tags))


def _want(tx: Tx, *, tag: str, now: datetime) -> None:
    wanted_at = now + timedelta(hours=WANTED_IN_H)
    wish = Happening(uuid4(), EventKind.WANTED, wanted_at)
    log_happening(tx, tag=tag, happening=wish, by=_BY, now=now)


def _multiply(engine: Engine, *, copies: int, drums: int) -> None:
    """Put copies of the first sites' drums, as they were recorded, into the other sites.

    To receive a hundred thousand one by one would take hours. Nothing computed is copied: it names
    the place it was computed for. So every drum is due from its receipt.
    """
    place = f"place_id + copy * {FIRST_SITES * PLACES}"
    drum = f"drum_id + copy * {drums}"
    data = (
        "CASE WHEN data->>'place' IS NULL THEN data ELSE"
        " jsonb_set(data::jsonb, '{place}', to_jsonb((data->>'place')::int"
        f" + copy * {FIRST_SITES * PLACES}))::json END"
    )
    others: dict[str, dict[str, str | None]] = {
        "drum": {
            "id": f"id + copy * {drums}",
            "tag": f"'~' || to_hex(id + copy * {drums})",
            "place_id": place,
        },
        "drum_event": {"seq": None, "id": "gen_random_uuid()", "drum_id": drum, "data": data},
        "stay": {"id": None, "drum_id": drum, "place_id": place},
    }
    with transaction(engine) as tx:
        connection = tx.session.connection()
        for name, changed in others.items():
            columns = [column.name for column in SQLModel.metadata.tables[name].columns]
            values = {column: changed.get(column, column) for column in columns}
            kept = {column: value for column, value in values.items() if value is not None}
            connection.exec_driver_sql(
                f"INSERT INTO {name} ({', '.join(kept)})"  # noqa: S608 - names of ours
                f" SELECT {', '.join(kept.values())} FROM {name},"
                f" generate_series(1, {copies}) AS copy"
            )
        connection.exec_driver_sql(
            "SELECT setval(pg_get_serial_sequence('drum', 'id'), (SELECT max(id) FROM drum))"
        )


def pack_of(site: OneSite, *, turn: int, at_s: int) -> tuple[str, bytes]:
    """Return topic and payload of what a site's gateway sends of all its sensors at a time."""
    records = [
        Record(name=name, unit="Cel", value=_value(n, at_s), time=float(at_s))
        for n, (_, name) in enumerate(site.sensors)
    ]
    payload = encode_pack(records, spool=Spool(site.urn, _SPOOL, turn + 1))
    return _TOPICS.readings(site=site.code, gateway="gw"), payload


def _make_sites(tx: Tx, *, sites: int, sensors_each: int, now: datetime) -> list[OneSite]:
    session = tx.session
    own = [Site(code=f"site-{n:04}", name=f"Site {n}", timezone="UTC") for n in range(sites)]
    session.add_all(own)
    session.flush()
    gateways = [
        Gateway(site_id=site.id, code="gw", urn=f"urn:dev:os:32473-{site.code}") for site in own
    ]
    places = [
        Place(
            site_id=site.id,
            code=f"p{n}",
            name=f"Place {n}",
            kind="warm_room" if n == PLACES - 1 else "warehouse",
            set_point_c=SET_POINT_C if n == PLACES - 1 else None,
            motion="still",
            standing="pallet",
        )
        for site in own
        for n in range(PLACES)
    ]
    session.add_all([*gateways, *places])
    session.flush()
    sensors = [
        Sensor(
            name=f"urn:dev:os:32473-{site.code}:t{n}",
            gateway_id=gateway.id,
            quantity="temperature",
            unit="Cel",
            interval_s=300.0,
        )
        for site, gateway in zip(own, gateways, strict=True)
        for n in range(sensors_each)
    ]
    session.add_all(sensors)
    session.flush()
    session.add_all(
        Mount(
            sensor_id=sensor.id,
            what="air",
            place_id=places[n // sensors_each * PLACES + n % sensors_each % PLACES].id,
            since=now - timedelta(days=40),
        )
        for n, sensor in enumerate(sensors)
    )
    session.flush()
    return [
        OneSite(
            code=site.code,
            places=tuple(place.id for place in places[n * PLACES : (n + 1) * PLACES]),
            sensors=tuple(
                (sensor.id, sensor.name)
                for sensor in sensors[n * sensors_each : (n + 1) * sensors_each]
            ),
        )
        for n, site in enumerate(own)
    ]


def send_air(tx: Tx, sites: Sequence[OneSite], *, now: datetime) -> None:
    """Store what the sensors say now."""
    at_s = _last_s(now)
    rows = [
        (sensor_id, at_s * 1000, _value(n, at_s))
        for site in sites
        for n, (sensor_id, _) in enumerate(site.sensors)
    ]
    readings.insert_batch(tx, rows=rows)
    readings.raise_latest(tx, rows=rows, received_ms=to_ms(now))


def _send_past(tx: Tx, sites: Sequence[OneSite], *, hours: float, now: datetime) -> None:
    """Have the server itself store what the sensors said over so many hours before."""
    last_s = _last_s(now) - INTERVAL_S
    first_s = last_s - round(hours * 3600) // INTERVAL_S * INTERVAL_S
    span = range(hour_of(first_s * 1000), hour_of(last_s * 1000) + 1)
    partitions.ensure(tx, months={Month.of_hour(hour) for hour in span})
    sensors = [one for site in sites for one in site.sensors]
    begin, each = sensors[0][0], len(sites[0].sensors)
    number = f"((sensor - {begin}) % {each})"
    spot, beside = f"({number} % {PLACES})", f"({number} / {PLACES})"
    tx.session.connection().exec_driver_sql(
        "INSERT INTO reading (hour, sensor_id, ts, value) "  # noqa: S608 - numbers of ours
        f"SELECT at / 3600, sensor, at * 1000::bigint, CASE WHEN {spot} = {PLACES - 1} "
        f"THEN {_WARM_C} ELSE {_COLD_C} + {_APART_K} * {spot} END "
        f"+ 0.1 * ({beside} % 3) + at / 300 % 7 / 10.0 "
        f"FROM generate_series({first_s}, {last_s}, {INTERVAL_S}) AS at, "
        f"generate_series({begin}, {sensors[-1][0]}) AS sensor".replace("%", "%%")
    )
    ends = [(sensor_id, at_s * 1000, 0.0) for at_s in (first_s, last_s) for sensor_id, _ in sensors]
    readings.raise_latest(tx, rows=ends, received_ms=to_ms(now))


def _last_s(now: datetime) -> int:
    return int(now.timestamp()) // 60 * 60 - 60


def _value(number: int, at_s: int) -> float:
    """Return what the sensor of this number at its site says at a time, °C."""
    spot, beside = number % PLACES, number // PLACES
    level = _WARM_C if spot == PLACES - 1 else _COLD_C + _APART_K * spot
    return level + 0.1 * (beside % 3) + at_s // 300 % 7 / 10.0


def _portions(items: Sequence[_Item], size: int) -> Iterator[Sequence[_Item]]:
    for start in range(0, len(items), size):
        yield items[start : start + size]
