"""Sensors that speak and are not to be believed: stuck, jumping, out of range or apart."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.alarm_rules.inputs import MANAGER, UNKNOWN_MEANWHILE, SensorNow
from drumkeep.domain.alarm_rules.watch import silent_after
from drumkeep.domain.alarms import AlarmKind, Finding, Priority
from drumkeep.domain.doubt_words import said, seen
from drumkeep.domain.grid import from_ms, to_ms
from drumkeep.domain.plausibility import Doubt, Reason
from drumkeep.domain.sensors import What
from drumkeep.domain.wording import moment

OFTEN: Final = 3
"""So many bursts of nonsense within :data:`DOUBTED_LATELY` are no chance; fewer are not told of."""

QUIET_AFTER: Final = timedelta(hours=2)
"""A sensor that gave nonsense often behaves again when it has not for so long."""


def doubted(sensors: Sequence[SensorNow], *, now: datetime) -> list[Finding]:
    """Tell of sensors that speak and have no say."""
    speaking = [s for s in sensors if s.last_at and now - s.last_at <= silent_after(s.interval_s)]
    found: list[Finding] = []
    for sensor in speaking:
        found += _stuck(sensor, among=speaking, now=now)
        found += _nonsense(sensor, among=speaking, now=now)
    by_spot: dict[tuple[int | None, What], list[SensorNow]] = defaultdict(list)
    for sensor in speaking:
        by_spot[sensor.place, sensor.what].append(sensor)
    for beside in by_spot.values():
        found += _apart(beside, now=now)
    return found


def _stuck(sensor: SensorNow, *, among: Sequence[SensorNow], now: datetime) -> list[Finding]:
    doubt = _now(sensor, Reason.STUCK, now=now)
    if doubt is None:
        return []
    message = (
        f"Restart or replace {_named(sensor)}: it {seen(doubt, what=sensor.what)}. "
        f"{_meanwhile(sensor, among=among, now=now)}"
    )
    return [_finding(AlarmKind.SENSOR_STUCK, sensor, message)]


def _nonsense(sensor: SensorNow, *, among: Sequence[SensorNow], now: datetime) -> list[Finding]:
    bursts = _bursts([d for d in sensor.doubts if d.reason in (Reason.RANGE, Reason.JUMP)])
    if not bursts:
        return []
    first, last = bursts[-1]
    lasts = last.holds_at(to_ms(now))
    lasted = lasts and now - from_ms(first.from_ms) >= silent_after(sensor.interval_s)
    quiet = last.until_ms is not None and now - from_ms(last.until_ms) >= QUIET_AFTER
    if not lasted and (len(bursts) < OFTEN or quiet):
        return []
    did = seen(first, what=sensor.what)
    if not lasted:
        did = f"{did}, and {len(bursts) - 1} times more in the last hours"
    message = (
        f"Check {_named(sensor)} and its wire: it {did}. {_meanwhile(sensor, among=among, now=now)}"
    )
    return [_finding(AlarmKind.SENSOR_IMPLAUSIBLE, sensor, message)]


def _apart(beside: Sequence[SensorNow], *, now: datetime) -> list[Finding]:
    """Tell of sensors of one spot that say other than its others, or all something else."""
    off = [(s, d) for s in beside if (d := _now(s, Reason.APART, now=now)) is not None]
    trusted = [s for s in beside if not _doubted_now(s, now=now)]
    if len(trusted) > len(off):
        return [
            _finding(
                AlarmKind.SENSOR_IMPLAUSIBLE,
                sensor,
                f"Hang a thermometer beside {_named(sensor)}: it "
                f"{seen(doubt, what=sensor.what)}. {_meanwhile(sensor, among=beside, now=now)}",
            )
            for sensor, doubt in off
        ]
    if not off:
        return []
    first = off[0][0]
    values = " and ".join(said(d.value, what=first.what) for _, d in off)
    since = moment(from_ms(max(d.from_ms for _, d in off)))
    message = (
        f"Hang a thermometer beside {_named_all(first)}: they say {values}, doubted since {since}. "
        "Neither is believed more: all between counts as possible meanwhile."
    )
    return [_finding(AlarmKind.SENSOR_IMPLAUSIBLE, first, message)]


def _bursts(doubts: Sequence[Doubt]) -> list[tuple[Doubt, Doubt]]:
    """Join doubts that follow one another without a trusted reading: the first and the last."""
    found: list[tuple[Doubt, Doubt]] = []
    for doubt in doubts:
        if found and found[-1][1].until_ms == doubt.from_ms:
            found[-1] = found[-1][0], doubt
        else:
            found.append((doubt, doubt))
    return found


def _now(sensor: SensorNow, reason: Reason, *, now: datetime) -> Doubt | None:
    return next((d for d in sensor.doubts if d.reason is reason and d.holds_at(to_ms(now))), None)


def _doubted_now(sensor: SensorNow, *, now: datetime) -> bool:
    return any(d.holds_at(to_ms(now)) for d in sensor.doubts)


def _named(sensor: SensorNow) -> str:
    if sensor.place_name:
        return f"the sensor of {sensor.place_name}"
    if sensor.drums:
        tag = sensor.drums[0]
        return f"the sensor of drum {tag}"
    return "the sensor of a drum"


def _named_all(sensor: SensorNow) -> str:
    """Name all sensors of the spot of one."""
    if sensor.place_name:
        return f"the sensors of {sensor.place_name}"
    if sensor.drums:
        tag = sensor.drums[0]
        return f"the sensors of drum {tag}"
    return "the sensors of a drum"


def _meanwhile(sensor: SensorNow, *, among: Sequence[SensorNow], now: datetime) -> str:
    if sensor.what is not What.AIR:
        return "It has no say meanwhile."
    others = any(
        s.name != sensor.name
        and s.place == sensor.place
        and s.what is sensor.what
        and not _doubted_now(s, now=now)
        for s in among
    )
    if others:
        return "The other sensors there are believed meanwhile."
    return UNKNOWN_MEANWHILE


def _finding(kind: AlarmKind, sensor: SensorNow, message: str) -> Finding:
    return Finding(
        kind=kind,
        cause=sensor.name,
        site=sensor.site,
        place=sensor.place,
        priority=Priority.MEDIUM,
        audience=(MANAGER,),
        message=message,
        drums=sensor.drums,
    )
