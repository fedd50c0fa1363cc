"""A company with a full stock in a database, for benchmarks that ask a store or a service."""

from datetime import datetime, timedelta
from typing import Any, Final
from uuid import UUID

import numpy as np

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
from drumkeep.storage.transaction import transaction

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
    """Store what the sensors said: each swings by the day about a mean of its own."""
    last = to_ms(now)
    times = last - np.arange(DAYS * 86_400 // INTERVAL_S)[::-1] * INTERVAL_S * 1000
    rng = np.random.default_rng(2)
    with transaction(engine) as tx:
        rows: list[tuple[int, int, float]] = []
        for n, place in enumerate(where):
            found = sensor_by_name(tx, name=_sensor(place))
            assert found is not None
            day = np.sin(times / 86_400_000.0 * 2.0 * np.pi + n)
            values = -2.0 + 0.7 * n + 4.0 * day + rng.normal(0.0, 0.1, len(times))
            rows += [
                (found.id, int(ts), round(float(value), 2))
                for ts, value in zip(times, values, strict=True)
            ]
        readings.insert_batch(tx, rows=rows)
        readings.raise_latest(tx, rows=rows, received_ms=last)
