"""What alarm rules look at; arguments replace parts of an iso drum that is well in a warehouse."""

from collections.abc import Collection
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from drumkeep.domain.alarm_rules import BatteryNow, DrumNow, GatewayNow, SensorNow, findings
from drumkeep.domain.alarms import AlarmKind, Finding
from drumkeep.domain.grid import to_ms
from drumkeep.domain.liquid_state import NEVER
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.plausibility import Doubt, Reason
from drumkeep.domain.products import Side, default_product
from drumkeep.domain.rig_checks import RigNow, RigPart
from drumkeep.domain.side_checks import CheckAnswer, CheckNow
from tests.builders.past import at, step

NOW_H = 240.0
NOW = at(NOW_H)
STEP = step(NOW_H)

PLACES = {
    PlaceKind.WAREHOUSE: 1,
    PlaceKind.VEHICLE: 2,
    PlaceKind.DOCK: 3,
    PlaceKind.YARD: 4,
    PlaceKind.WARM_ROOM: 5,
    PlaceKind.RIG: 6,
    PlaceKind.JOB_SITE: 7,
}


def drum(
    tag: str = "K7Q-X4M",
    *,
    side: Side = Side.ISO,
    kind: PlaceKind = PlaceKind.WAREHOUSE,
    **changes: Any,
) -> DrumNow:
    """Return a drum that no rule minds."""
    well = DrumNow(
        tag=tag,
        side=side,
        limits=default_product(side).limits,
        lot="LOT-1",
        lot_ref="north-iso/LOT-1",
        place=PLACES[kind],
        place_name=f"the {kind.value}",
        place_kind=kind,
        place_ref=f"north/{kind.value}",
        site=1,
        step=STEP,
        supported=True,
        bottom_low_c=18.0,
        mean_c=20.0,
        pressure_kpa=0.0,
        overpressure=False,
        seed_since=NEVER,
        gas_since=NEVER,
        below_since=NEVER,
        above_since=NEVER,
        cold_steps=0,
        seeds_at=None,
        cold_hours=0.0,
        lowest_c=18.0,
        wanted_at=None,
        start_by=None,
        slow_ready_at=None,
        ready=True,
        in_warm_room=kind is PlaceKind.WARM_ROOM,
        open_since=None,
        expires_at=NOW + timedelta(days=100),
    )
    return replace(well, **changes)


def sensor(**changes: Any) -> SensorNow:
    """Return a sensor heard of a minute ago."""
    heard = SensorNow(
        name="urn:dev:ow:10e2073a01080063:temp",
        site=1,
        place=1,
        place_name="the warehouse",
        interval_s=300.0,
        hung_at=NOW - timedelta(days=10),
        last_at=NOW - timedelta(minutes=1),
        gateway="attic",
        drums=("K7Q-X4M",),
    )
    return replace(heard, **changes)


def doubt(
    reason: Reason,
    *,
    begun: datetime,
    over: datetime | None = None,
    value: float = 21.0,
    other: float | None = 15.0,
) -> Doubt:
    """Return a doubt about a sensor, that lasts unless it is over."""
    return Doubt(
        reason=reason,
        from_ms=to_ms(begun),
        until_ms=None if over is None else to_ms(over),
        value=value,
        other=other,
    )


def gateway(**changes: Any) -> GatewayNow:
    """Return a gateway that is there."""
    there = GatewayNow(
        code="attic", site=1, online=True, presence_at=NOW - timedelta(days=1), drums=("K7Q-X4M",)
    )
    return replace(there, **changes)


def battery(percent: float, **changes: Any) -> BatteryNow:
    """Return a gateway's battery heard of a minute ago."""
    heard = BatteryNow(
        name="urn:dev:os:32473-attic:battery",
        bearer="gateway attic",
        site=1,
        percent=percent,
        at=NOW - timedelta(minutes=1),
    )
    return replace(heard, **changes)


def rig(**changes: Any) -> RigNow:
    """Return a rig of which every part was looked at a day ago."""
    looked = dict.fromkeys(RigPart, NOW - timedelta(days=1))
    well = RigNow(
        place=PLACES[PlaceKind.RIG],
        site=1,
        name="the rig",
        ref="north/rig",
        last_at=looked,
        first_at=NOW - timedelta(days=30),
    )
    return replace(well, **changes)


def side_check(
    answer: CheckAnswer, *, hours_ago: float = 1.0, cause: str = "north/rig"
) -> CheckNow:
    """Return a check of two drums for a rig."""
    return CheckNow(
        at=NOW - timedelta(hours=hours_ago),
        cause=cause,
        by="mara",
        rig="Rig 1",
        site=1,
        place=PLACES[PlaceKind.RIG],
        answer=answer,
        reason="Both are A.",
        tags=("K7Q-X4M", "M3T-9WR"),
    )


def found(
    *drums: DrumNow,
    sensors: tuple[SensorNow, ...] = (),
    gateways: tuple[GatewayNow, ...] = (),
    batteries: tuple[BatteryNow, ...] = (),
    rigs: tuple[RigNow, ...] = (),
    side_checks: tuple[CheckNow, ...] = (),
    under: dict[AlarmKind, set[str]] | None = None,
    told: Collection[AlarmKind] = (),
    resumed_at: datetime | None = None,
    now: Any = NOW,
) -> list[Finding]:
    """Return the active causes.

    ``under`` are the tags under an open alarm of a kind, ``told`` the kinds with an open alarm.
    """
    return findings(
        drums,
        sensors=sensors,
        gateways=gateways,
        batteries=batteries,
        rigs=rigs,
        side_checks=side_checks,
        was=lambda kind, _cause, tag: tag in (under or {}).get(kind, set()),
        told=lambda kind, _cause: kind in told,
        resumed_at=resumed_at,
        now=now,
    )


def one(*drums: DrumNow, **how: Any) -> Finding:
    """Return the only active cause."""
    (finding,) = found(*drums, **how)
    return finding


def kinds(*drums: DrumNow, **how: Any) -> list[AlarmKind]:
    """Return what is wrong, a kind a cause."""
    return [finding.kind for finding in found(*drums, **how)]
