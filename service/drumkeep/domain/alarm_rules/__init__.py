"""Which causes are active: the alarm table of the trade, over drums as last computed.

Limits, dead bands and delays are common practice, no source, and live on the product where they
are temperatures.
"""

from collections.abc import Sequence
from datetime import datetime

from drumkeep.domain.alarm_rules.cold import cold
from drumkeep.domain.alarm_rules.condensation import condensation
from drumkeep.domain.alarm_rules.doubted import doubted
from drumkeep.domain.alarm_rules.inputs import (
    BatteryNow,
    DrumNow,
    GatewayNow,
    SensorNow,
    Told,
    Was,
    group_by,
)
from drumkeep.domain.alarm_rules.plans import not_in_time, shelf_life, warm_up
from drumkeep.domain.alarm_rules.pressure import pressure, vacuum
from drumkeep.domain.alarm_rules.rig_checks import late_checks
from drumkeep.domain.alarm_rules.sides import mismatched
from drumkeep.domain.alarm_rules.stored import gassing, storage, too_hot
from drumkeep.domain.alarm_rules.watch import (
    blanket,
    clocks_off,
    low_batteries,
    offline,
    ratio,
    silent,
)
from drumkeep.domain.alarms import Finding
from drumkeep.domain.rig_checks import RigNow
from drumkeep.domain.side_checks import CheckNow

__all__ = ["BatteryNow", "DrumNow", "GatewayNow", "SensorNow", "Told", "Was", "findings"]


def findings(
    drums: Sequence[DrumNow],
    *,
    sensors: Sequence[SensorNow],
    gateways: Sequence[GatewayNow],
    batteries: Sequence[BatteryNow] = (),
    rigs: Sequence[RigNow] = (),
    side_checks: Sequence[CheckNow] = (),
    was: Was,
    told: Told,
    resumed_at: datetime | None = None,
    now: datetime,
) -> list[Finding]:
    """Return every active cause.

    Parameters
    ----------
    drums, sensors, gateways, batteries, rigs, side_checks
        As last computed, heard of and recorded; checks the oldest first.
    was
        Which drums are under an open alarm, so that they leave it only past the dead band.
    told
        Which causes have an open alarm.
    resumed_at
        When the service came back after a break: what was measured meanwhile is still on its way,
        so each sensor is given its time to speak. None where there was no break.
    now
        The present, UTC.
    """
    found: list[Finding] = []
    for place_drums in group_by(drums, lambda d: d.place).values():
        found += cold(place_drums, was=was)
        found += gassing(place_drums, was=was)
        found += pressure(place_drums, was=was)
        found += vacuum(place_drums, was=was)
        found += condensation(place_drums, was=was, now=now)
        found += storage(place_drums, was=was)
        found += too_hot(place_drums, was=was)
        found += blanket(place_drums, now=now)
        found += ratio(place_drums)
    for wanted_drums in group_by(
        [d for d in drums if d.wanted_at is not None and d.wanted_at > now],
        lambda d: (d.site, d.wanted_at),
    ).values():
        found += warm_up(wanted_drums, now=now)
        found += not_in_time(wanted_drums, was=was, now=now)
    found += shelf_life(drums, today=now.date())
    absent = {(g.site, g.code) for g in gateways if not g.online and g.presence_at is not None}
    found += offline(gateways)
    found += clocks_off(gateways)
    found += silent(
        [s for s in sensors if (s.site, s.gateway or "") not in absent],
        told=told,
        resumed_at=resumed_at,
        now=now,
    )
    found += doubted(sensors, now=now)
    found += low_batteries(batteries, told=told)
    found += late_checks(rigs, now=now)
    found += mismatched(side_checks, now=now)
    return found
