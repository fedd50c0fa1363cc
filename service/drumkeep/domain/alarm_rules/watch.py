"""What nobody looks at: silent sensors, absent gateways, drums left open."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.alarm_rules.inputs import (
    CREW,
    MANAGER,
    UNKNOWN_MEANWHILE,
    BatteryNow,
    DrumNow,
    GatewayNow,
    SensorNow,
    Told,
    count,
    tags,
)
from drumkeep.domain.alarms import AlarmKind, Finding, Priority
from drumkeep.domain.devices import LOW_PERCENT, REFILLED_PERCENT
from drumkeep.domain.gateway_clocks import about
from drumkeep.domain.products import Side
from drumkeep.domain.wording import moment

BLANKET_WITHIN: Final = timedelta(minutes=60)
SILENT_INTERVALS: Final = 3.0
SILENT_LEAST: Final = timedelta(minutes=15)


def blanket(drums: Sequence[DrumNow], *, now: datetime) -> list[Finding]:
    """Tell of iso drums open for an hour with no blanket recorded."""
    bare = [
        d
        for d in drums
        if d.side is Side.ISO and d.open_since is not None and now - d.open_since > BLANKET_WITHIN
    ]
    if not bare:
        return []
    since = min(d.open_since for d in bare if d.open_since is not None)
    message = (
        f"Put dry gas on {count(bare)} in {bare[0].place_name}, or reseal: open since "
        f"{moment(since)} with no blanket recorded."
    )
    return [_at_hand(bare, kind=AlarmKind.BLANKET_MISSING, message=message)]


def ratio(drums: Sequence[DrumNow]) -> list[Finding]:
    """Tell of drums whose ratio pulsed at the gun, until each was looked at, dipped or mixed."""
    due = [d for d in drums if d.recheck_since is not None]
    if not due:
        return []
    since = min(d.recheck_since for d in due if d.recheck_since is not None)
    message = (
        f"Look at {count(due)} in {due[0].place_name}: the ratio pulsed at the gun "
        f"{moment(since)}. Spray no more from them before each was dipped, mixed or looked into."
    )
    return [_at_hand(due, kind=AlarmKind.RATIO_OFF, message=message)]


def silent_after(interval_s: float) -> timedelta:
    """Return how long a sensor may say nothing before it counts as silent."""
    return max(timedelta(seconds=SILENT_INTERVALS * interval_s), SILENT_LEAST)


def silent(
    sensors: Sequence[SensorNow], *, told: Told, resumed_at: datetime | None, now: datetime
) -> list[Finding]:
    """Tell of sensors that have measured nothing for three of their intervals.

    After the service was down, what was measured meanwhile is still on its way.
    """
    found = []
    for sensor in sensors:
        last = sensor.last_at or sensor.hung_at
        if resumed_at is not None and not told(AlarmKind.SENSOR_SILENT, sensor.name):
            last = max(last, resumed_at)
        if now - last <= silent_after(sensor.interval_s):
            continue
        one = "the sensor of a drum"
        if sensor.place_name:
            one = f"the sensor of {sensor.place_name}"
        since = (
            f"nothing since {moment(sensor.last_at)}" if sensor.last_at else "nothing ever heard"
        )
        found.append(
            Finding(
                kind=AlarmKind.SENSOR_SILENT,
                cause=sensor.name,
                site=sensor.site,
                place=sensor.place,
                priority=Priority.MEDIUM,
                audience=(MANAGER,),
                message=f"Check {one}: {since}. {UNKNOWN_MEANWHILE}",
                drums=sensor.drums,
            )
        )
    return found


def offline(gateways: Sequence[GatewayNow]) -> list[Finding]:
    """Tell of gateways that said, or whose last will said, that they are off."""
    return [
        _of_gateway(
            gateway,
            AlarmKind.GATEWAY_OFFLINE,
            f"Check gateway {gateway.code}: offline since {moment(gateway.presence_at)}. "
            "What it measures comes late or not at all.",
        )
        for gateway in gateways
        if not gateway.online and gateway.presence_at is not None
    ]


def clocks_off(gateways: Sequence[GatewayNow]) -> list[Finding]:
    """Tell of gateways that have sent wrong times again and again."""
    return [
        _of_gateway(
            gateway,
            AlarmKind.GATEWAY_CLOCK,
            f"Set the clock of gateway {gateway.code}: off by {about(off.ahead_s)}. What it "
            f"measures is refused since {moment(off.since)}: dip its drums before use.",
        )
        for gateway in gateways
        if (off := gateway.clock_off) is not None and off.at > off.since
    ]


def low_batteries(batteries: Sequence[BatteryNow], *, told: Told) -> list[Finding]:
    """Tell of batteries to be changed before what they feed falls silent."""
    found = []
    for battery in batteries:
        was_low = told(AlarmKind.BATTERY_LOW, battery.name)
        if battery.percent > (REFILLED_PERCENT if was_low else LOW_PERCENT):
            continue
        found.append(
            Finding(
                kind=AlarmKind.BATTERY_LOW,
                cause=battery.name,
                site=battery.site,
                place=None,
                priority=Priority.LOW,
                audience=(MANAGER,),
                message=(
                    f"Change the battery of {battery.bearer}: {battery.percent:.0f} % left at "
                    f"{moment(battery.at)}. When it is empty nothing is measured there."
                ),
            )
        )
    return found


def _at_hand(drums: Sequence[DrumNow], *, kind: AlarmKind, message: str) -> Finding:
    """Return what the crew at a place's drums, and their manager, are told."""
    first = drums[0]
    return Finding(
        kind=kind,
        cause=first.place_ref,
        site=first.site,
        place=first.place,
        priority=Priority.HIGH,
        audience=(CREW, MANAGER),
        message=message,
        drums=tags(drums),
    )


def _of_gateway(gateway: GatewayNow, kind: AlarmKind, message: str) -> Finding:
    return Finding(
        kind=kind,
        cause=f"gateway {gateway.site}/{gateway.code}",
        site=gateway.site,
        place=None,
        priority=Priority.MEDIUM,
        audience=(MANAGER,),
        message=message,
        drums=gateway.drums,
    )
