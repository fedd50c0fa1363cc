"""Which causes are active: the alarm table of the trade, over drums as last computed.

Limits, dead bands and delays are common practice, no source, and live on the product where they
are temperatures.
"""

from collections.abc import Sequence
from datetime import datetime
from functools import partial

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
from drumkeep.domain.alarm_rules.kept_off import leaving_alone
from drumkeep.domain.alarm_rules.plans import not_in_time, shelf_life, warm_up
from drumkeep.domain.alarm_rules.pressure import pressure, vacuum
from drumkeep.domain.alarm_rules.rig_checks import late_checks
from drumkeep.domain.alarm_rules.sides import mismatched
from drumkeep.domain.alarm_rules.stored import gassing, storage, too_hot
from drumkeep.domain.alarm_rules.uncomputed import not_computed
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
        found += leaving_alone(partial(cold, was=was), place_drums)
        found += leaving_alone(partial(gassing, was=was), place_drums)
        found += pressure(place_drums, was=was)
        found += leaving_alone(partial(vacuum, was=was), place_drums)
        found += leaving_alone(partial(condensation, was=was, now=now), place_drums)
        found += leaving_alone(partial(storage, was=was), place_drums)
        found += too_hot(place_drums, was=was)
        found += leaving_alone(partial(blanket, now=now), place_drums)
        found += leaving_alone(ratio, place_drums)
    for site_drums in group_by(drums, lambda d: d.site).values():
        found += leaving_alone(not_computed, site_drums)
    for wanted_drums in group_by(
        [d for d in drums if d.wanted_at is not None and d.wanted_at > now],
        lambda d: (d.site, d.wanted_at),
    ).values():
        found += leaving_alone(partial(warm_up, now=now), wanted_drums)
        found += leaving_alone(partial(not_in_time, was=was, now=now), wanted_drums)
    found += leaving_alone(partial(shelf_life, today=now.date()), drums)
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
