"""What the alarm rules look at, read from what is stored."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from drumkeep.domain.alarm_rules import BatteryNow, DrumNow, GatewayNow, SensorNow
from drumkeep.domain.alarm_rules.inputs import DOUBTED_LATELY
from drumkeep.domain.gateway_clocks import clock_off
from drumkeep.domain.grid import from_ms
from drumkeep.domain.liquid_age import age_of
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Product
from drumkeep.domain.readiness import Basis, Readiness
from drumkeep.domain.sensors import Quantity, What
from drumkeep.operations.devices import device_sayings
from drumkeep.operations.ground import read_ground
from drumkeep.operations.sensor_watch import watch_sensors
from drumkeep.operations.verdict_records import from_iso
from drumkeep.storage import alarm_sources, readings
from drumkeep.storage.alarm_sources import MountedSensor, PresentDrum
from drumkeep.storage.ground import Sites
from drumkeep.storage.products import as_product
from drumkeep.storage.transaction import Tx


def drums_now(tx: Tx, *, sites: Sites = None) -> list[DrumNow]:
    """Return every present drum of sites as last computed."""
    products: dict[int, Product] = {}
    found = []
    for row in alarm_sources.present_drums(tx, sites=sites):
        if row.product.id not in products:
            products[row.product.id] = as_product(row.product)
        found.append(_drum_now(row, product=products[row.product.id]))
    return found


def _drum_now(row: PresentDrum, *, product: Product) -> DrumNow:
    states = states_from_bytes([row.state])
    state = states[0]
    outlook = row.outlook
    return DrumNow(
        tag=row.tag,
        side=product.side,
        limits=product.limits,
        lot=row.lot,
        lot_ref=f"{row.product.code}/{row.lot}",
        place=row.place.id,
        place_name=row.place.name,
        place_kind=PlaceKind(row.place.kind),
        place_ref=f"{row.site_code}/{row.place.code}",
        site=row.place.site_id,
        step=row.step,
        supported=row.basis not in (None, Basis.UNSUPPORTED.value),
        bottom_low_c=row.bottom_low_c,
        mean_c=row.mean_c,
        pressure_kpa=row.pressure_kpa,
        overpressure=bool(state["overpressure"]),
        bulged=bool(state["bulged"]),
        computed=row.fault is None,
        seed_since=int(state["seed_since"]),
        gas_since=int(state["gas_since"]),
        below_since=int(state["below_since"]),
        above_since=int(state["above_since"]),
        cold_steps=int(state["cold_steps"]),
        seeds_at=_moment(outlook, "seeds_at"),
        cold_hours=float(outlook.get("cold_hours") or 0.0),
        lowest_c=outlook.get("lowest_c"),
        wanted_at=row.wanted_at,
        start_by=_moment(outlook, "start_by"),
        slow_ready_at=_moment(outlook, "slow_ready_at"),
        ready=row.readiness == Readiness.READY.value,
        in_warm_room=row.place.kind == PlaceKind.WARM_ROOM.value,
        open_since=_moment(outlook, "open_since"),
        recheck_since=_moment(outlook, "recheck_since"),
        dew_margin_k=row.dew_margin_k,
        humidity=row.humidity,
        humidity_assumed=bool(row.humidity_assumed),
        heated=bool(state["heat_w"] > 0.0 and row.step < state["heat_until"]),
        expires_at=age_of(states, product=product, step=row.step).ends_at,
    )


def _moment(outlook: Mapping[str, Any], name: str) -> datetime | None:
    return from_iso(outlook.get(name))


def sensors_now(
    tx: Tx,
    *,
    mounted: Sequence[MountedSensor],
    drums: Sequence[DrumNow],
    sites: Sites = None,
    now: datetime,
) -> list[SensorNow]:
    """Return mounted sensors with the times of their newest readings and their doubts of lately.

    One on a drum that is not here is left out: nobody reads it.
    """
    by_place = _tags_by_place(drums)
    present = {drum.tag for drum in drums}
    mounted = [m for m in mounted if m.place_id is not None or m.drum in present]
    newest = readings.newest(tx, sensor_ids=[m.sensor_id for m in mounted])
    watched = watch_sensors(
        tx,
        ground=read_ground(tx, sites=sites),
        lately=DOUBTED_LATELY,
        only=None if sites is None else {m.sensor_id for m in mounted},
        now=now,
    )
    doubts = {one.sensor.id: one.doubts for one in watched}
    return [
        SensorNow(
            name=m.name,
            site=m.site_id,
            place=m.place_id,
            place_name=m.place_name,
            interval_s=m.interval_s,
            hung_at=m.hung_at,
            last_at=from_ms(newest[m.sensor_id].ts_ms) if m.sensor_id in newest else None,
            gateway=m.gateway,
            drums=by_place.get(m.place_id, ()) if m.drum is None else (m.drum,),
            what=What(m.what),
            doubts=doubts.get(m.sensor_id, ()),
        )
        for m in mounted
    ]


def gateways_now(
    tx: Tx,
    *,
    mounted: Sequence[MountedSensor],
    drums: Sequence[DrumNow],
    sites: Sites = None,
    now: datetime,
) -> list[GatewayNow]:
    """Return the gateways of sites with what they last said, and how wrong their clocks are."""
    by_place = _tags_by_place(drums)
    places: dict[tuple[int, str], set[int]] = defaultdict(set)
    for m in mounted:
        if m.gateway is not None and m.place_id is not None:
            places[m.site_id, m.gateway].add(m.place_id)
    return [
        GatewayNow(
            code=gateway.code,
            site=gateway.site_id,
            online=gateway.online,
            presence_at=gateway.presence_at,
            clock_off=clock_off(
                ahead_s=gateway.clock_ahead_s,
                since=gateway.clock_off_since,
                at=gateway.clock_off_at,
                now=now,
            ),
            drums=tuple(
                sorted(
                    tag
                    for place in places[gateway.site_id, gateway.code]
                    for tag in by_place.get(place, ())
                )
            ),
        )
        for gateway in alarm_sources.gateways(tx, sites=sites)
    ]


def batteries_now(
    tx: Tx, *, mounted: Sequence[MountedSensor] | None = None, sites: Sites = None
) -> list[BatteryNow]:
    """Return the batteries that said how full they are; one that came by no gateway has no site."""
    return [
        BatteryNow(
            name=one.name,
            bearer=one.bearer,
            site=one.gateway.site_id,
            percent=one.value,
            at=one.at,
        )
        for one in device_sayings(tx, mounted=mounted, sites=sites)
        if one.quantity is Quantity.BATTERY and one.gateway is not None
    ]


def _tags_by_place(drums: Sequence[DrumNow]) -> dict[int | None, tuple[str, ...]]:
    found: dict[int | None, list[str]] = defaultdict(list)
    for drum in drums:
        found[drum.place].append(drum.tag)
    return {place: tuple(sorted(tags)) for place, tags in found.items()}
