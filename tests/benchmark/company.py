"""A company with a full stock in a database, for benchmarks that ask a store or a service."""

from datetime import datetime, timedelta
from typing import Any, Final
from uuid import UUID, uuid4

import numpy as np
from sqlmodel import col, select

from drumkeep.domain.grid import to_ms
from drumkeep.domain.products import Side
from drumkeep.domain.roles import Role
from drumkeep.operations import lots, places, products, sensors, sites
from drumkeep.operations.drums import By
from drumkeep.operations.receipts import Receipt, receive_drums
from drumkeep.operations.sensors import NewMount
from drumkeep.storage import readings
from drumkeep.storage.catalogue import sensor_by_name
from drumkeep.storage.engine import Engine
from drumkeep.storage.tables.alarms import Alarm, AlarmEntry
from drumkeep.storage.tables.catalogue import Mount, Place, Sensor
from drumkeep.storage.transaction import Tx, transaction

SITES: Final = 4
KINDS: Final[tuple[dict[str, Any], ...]] = (
    {"kind": "vehicle"},
    {"kind": "vehicle"},
    {"kind": "dock"},
    {"kind": "yard"},
    {"kind": "warehouse"},
    {"kind": "warehouse"},
    {"kind": "warehouse"},
    {"kind": "warehouse"},
    {"kind": "warm_room", "set_point_c": 27.0},
    {"kind": "rig"},
)
"""Places of a site, each with a sensor of its air."""

LOTS: Final = 50
"""Of each side."""

INTERVAL_S: Final = 600
DAYS: Final = 3
AT_ONCE: Final = 500
_BY: Final = By(name="Benchmark", role=Role.MANAGER)
_FILLS_KG: Final = (None, None, None, 120.0)


def build(engine: Engine, *, drums: int, now: datetime) -> list[str]:
    """Make sites, places with three days of air, lots, and so many drums; return their tags."""
    where = _make_places(engine, now=now)
    _send_air(engine, where, now=now)
    lot_codes = [f"{2000 + n}" for n in range(LOTS)]
    with transaction(engine) as tx:
        for side in Side:
            products.create_product(tx, code=side, name=f"Our {side}", side=side)
            for code in lot_codes:
                lots.create_lot(
                    tx, product=side, code=code, made_on=now.date() - timedelta(days=60), now=now
                )
    rng = np.random.default_rng(1)
    sides = list(Side)
    ids = (UUID(bytes=rng.bytes(16)) for _ in range(drums))
    tags = []
    for start in range(0, drums, AT_ONCE):
        some = [
            Receipt(
                event_id=next(ids),
                product=sides[n % 2],
                lot=lot_codes[n // 2 * LOTS // (drums // 2 + 1)],
                place=where[(n * len(where) // drums + int(rng.integers(2))) % len(where)],
                at=now - timedelta(hours=30.0),
                net_kg=_FILLS_KG[n % len(_FILLS_KG)],
                liquid_c=float(rng.integers(8, 30)),
            )
            for n in range(start, min(start + AT_ONCE, drums))
        ]
        with transaction(engine) as tx:
            tags += [drum.tag for drum in receive_drums(tx, receipts=some, by=_BY, now=now)]
    return tags


def add_sensors(engine: Engine, *, number: int, now: datetime) -> None:
    """Hang so many more sensors of air in the places, each with as many days of readings."""
    with transaction(engine) as tx:
        where = tx.session.exec(select(Place.id).order_by(col(Place.id))).all()
        made = [
            Sensor(
                name=f"more-{uuid4().hex}",
                quantity="temperature",
                unit="Cel",
                interval_s=float(INTERVAL_S),
            )
            for n in range(number)
        ]
        tx.session.add_all(made)
        tx.session.flush()
        tx.session.add_all(
            Mount(
                sensor_id=sensor.id,
                what="air",
                place_id=where[n % len(where)],
                since=now - timedelta(days=40),
            )
            for n, sensor in enumerate(made)
        )
        _store_air(tx, [sensor.id for sensor in made], now=now)


def raise_alarms(engine: Engine, *, number: int, tags: list[str], now: datetime) -> None:
    """Store so many open alarms, each of five drums, raised and amended."""
    with transaction(engine) as tx:
        where = tx.session.exec(select(Place).order_by(col(Place.id))).all()
        for n in range(number):
            place, since = where[n % len(where)], now - timedelta(minutes=n)
            message = f"Warm lot {n} in {place.name}: its liquid reaches {{t:10.00}}."
            identity = uuid4().hex
            alarm = Alarm(
                id=identity,
                kind="storage_band",
                cause=f"place {place.id} {identity}",
                open_cause=f"storage_band place {place.id} {identity}",
                site_id=place.site_id,
                place_id=place.id,
                state=("unacknowledged", "acknowledged")[n % 2],
                priority="medium",
                audience=["manager"],
                message=message,
                drums=[tags[(5 * n + k) % len(tags)] for k in range(5)],
                raised_at=since,
                changed_at=since,
            )
            tx.session.add(alarm)
            tx.session.flush()
            tx.session.add_all(
                AlarmEntry(alarm_id=alarm.id, at=since, state=alarm.state, words=words)
                for words in (f"raised: {message}", f"amended: {message}")
            )


def _make_places(engine: Engine, *, now: datetime) -> list[int]:
    made = []
    with transaction(engine) as tx:
        for site in range(SITES):
            sites.create_site(tx, code=f"s{site}", name=f"Site {site}", timezone="America/Chicago")
            for number, how in enumerate(KINDS):
                code = f"p{number}"
                name = f"{how['kind']} {number}".replace("_", " ").capitalize()
                place = places.create_place(tx, site=f"s{site}", code=code, name=name, **how)
                made.append(place.id)
                sensors.create_sensor(
                    tx,
                    name=_sensor(place.id),
                    quantity="temperature",
                    interval_s=INTERVAL_S,
                    mount=NewMount(
                        what="air", place=f"s{site}/{code}", since=now - timedelta(days=40)
                    ),
                    now=now,
                )
    return made


def _sensor(place_id: int) -> str:
    return f"air-{place_id}"


def _send_air(engine: Engine, where: list[int], *, now: datetime) -> None:
    """Store what the sensors of places said."""
    with transaction(engine) as tx:
        found = [sensor_by_name(tx, name=_sensor(place)) for place in where]
        _store_air(tx, [sensor.id for sensor in found if sensor is not None], now=now)


def _store_air(tx: Tx, sensor_ids: list[int], *, now: datetime) -> None:
    """Store what sensors said: each swings by the day about the mean of its place."""
    last = to_ms(now)
    times = last - np.arange(DAYS * 86_400 // INTERVAL_S)[::-1] * INTERVAL_S * 1000
    rng = np.random.default_rng(2)
    rows: list[tuple[int, int, float]] = []
    for n, sensor_id in enumerate(sensor_ids):
        place = n % (SITES * len(KINDS))
        day = np.sin(times / 86_400_000.0 * 2.0 * np.pi + place)
        values = -2.0 + 0.7 * place + 4.0 * day + rng.normal(0.0, 0.1, len(times))
        rows += [
            (sensor_id, int(ts), round(float(value), 2))
            for ts, value in zip(times, values, strict=True)
        ]
    readings.insert_batch(tx, rows=rows)
    readings.raise_latest(tx, rows=rows, received_ms=last)
