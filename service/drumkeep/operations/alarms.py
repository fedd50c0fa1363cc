"""Evaluate the alarm rules, keep the states, and let people acknowledge and shelve."""

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, Final
from uuid import uuid4

from drumkeep.domain.alarm_rules import findings
from drumkeep.domain.alarms import (
    PHASES,
    RANK,
    WAITING,
    AlarmKind,
    AlarmState,
    Finding,
    Priority,
    acknowledged,
    transition,
)
from drumkeep.domain.notices import TELLABLE, Occasion
from drumkeep.domain.roles import Action, Role, may, may_acknowledge
from drumkeep.errors import Conflict, Fault, Invalid, NotFound, Refused
from drumkeep.operations import notices
from drumkeep.operations.alarm_inputs import batteries_now, drums_now, gateways_now, sensors_now
from drumkeep.operations.drums import By
from drumkeep.operations.notices import Listeners
from drumkeep.operations.rig_checks import rigs_now
from drumkeep.operations.side_checks import checks_now
from drumkeep.storage import alarm_sources, leases
from drumkeep.storage import alarms as rows
from drumkeep.storage import notices as notice_rows
from drumkeep.storage.ground import Sites
from drumkeep.storage.tables.alarms import Alarm, AlarmEntry
from drumkeep.storage.transaction import Tx

LONGEST_SHELF: Final = timedelta(hours=24)
_LONGEST_KEY: Final = 160

_WORDS: Final = {
    AlarmState.UNACKNOWLEDGED: "raised",
    AlarmState.RETURNED_UNACKNOWLEDGED: "returned to normal, not acknowledged",
    AlarmState.NORMAL: "returned to normal",
    AlarmState.ACKNOWLEDGED: "acknowledged",
    AlarmState.SHELVED: "shelved",
}


def evaluate_alarms(tx: Tx, *, now: datetime) -> int:
    """Look at every cause again; raise, amend and return alarms.

    Idempotent: evaluated twice at one moment, the second changes nothing.

    Returns
    -------
    int
        How many alarms changed.
    """
    return keep_alarms(tx, active=active_causes(tx, now=now), now=now)


def active_causes(tx: Tx, *, sites: Sites = None, now: datetime) -> dict[str, Finding]:
    """Return what is to be told now of some sites, by its key; writes nothing.

    In a large company it takes long, and nobody should have to wait for it who writes. No cause is
    of two sites, so that they can be looked at some at a time.
    """
    standing = _standing(tx, sites=sites)

    def was(kind: AlarmKind, cause: str, tag: str) -> bool:
        alarm = standing.get(_key(kind, cause))
        return alarm is not None and tag in alarm.drums

    def told(kind: AlarmKind, cause: str) -> bool:
        return _key(kind, cause) in standing

    drums = drums_now(tx, sites=sites)
    mounted = alarm_sources.mounted_sensors(tx, sites=sites)
    return {
        _key(finding.kind, finding.cause): finding
        for finding in findings(
            drums,
            sensors=sensors_now(tx, mounted=mounted, drums=drums, sites=sites, now=now),
            gateways=gateways_now(tx, mounted=mounted, drums=drums, sites=sites, now=now),
            batteries=batteries_now(tx, mounted=mounted, sites=sites),
            rigs=rigs_now(tx, sites=sites),
            side_checks=checks_now(tx, sites=sites, now=now),
            was=was,
            told=told,
            resumed_at=leases.resumed_at(tx, name=leases.SCHEDULE),
            now=now,
        )
    }


def keep_alarms(
    tx: Tx, *, active: Mapping[str, Finding], sites: Sites = None, now: datetime
) -> int:
    """Raise, amend and return alarms of sites, so that those are open whose causes are active.

    Only one process does so at a time; what people did with alarms since the causes were looked at
    stays.

    Returns
    -------
    int
        How many alarms changed.
    """
    standing = _standing(tx, sites=sites)
    listeners = notice_rows.listeners(tx)
    changed = 0
    for key, finding in active.items():
        alarm = standing.get(key)
        changed += (
            _raise(tx, finding, listeners=listeners, now=now)
            if alarm is None
            else _keep(tx, alarm, finding, listeners=listeners, now=now)
        )
    for key, alarm in standing.items():
        if key not in active:
            changed += _gone(tx, alarm, now=now)
    return changed


def _standing(tx: Tx, *, sites: Sites) -> dict[str, Alarm]:
    """Return the open alarms of sites by key; of a sensor where it hangs now."""
    found = {alarm.open_cause or "": alarm for alarm in rows.open_alarms(tx, sites=sites)}
    if sites is None:
        return found
    for alarm, site in rows.carried_off(tx):
        if site in sites:
            found[alarm.open_cause or ""] = alarm
        else:
            found.pop(alarm.open_cause or "", None)
    return found


def acknowledge(tx: Tx, *, alarm_id: str, by: By, now: datetime) -> Alarm:
    """Record that somebody has seen an alarm and acts on it; again is no harm.

    Raises
    ------
    NotFound
        There is no such alarm.
    Refused
        It is addressed to others.
    """
    alarm = alarm_at(tx, alarm_id=alarm_id)
    if not may_acknowledge(by.role, addressed=[Role(role) for role in alarm.audience]):
        to = " and ".join(alarm.audience)
        raise Refused(f"This alarm is for the {to}; the role {by.role} may not acknowledge it.")
    state = acknowledged(AlarmState(alarm.state))
    if state is None:
        return alarm
    alarm.acknowledged_at, alarm.acknowledged_by = now, by.name
    _move(tx, alarm, state, now=now, words="acknowledged", by=by.name)
    return alarm


def shelve(tx: Tx, *, alarm_id: str, minutes: float, reason: str, by: By, now: datetime) -> Alarm:
    """Put an alarm aside for a while; it comes back by itself.

    Raises
    ------
    Refused
        Only a manager may.
    Conflict
        The alarm is closed.
    """
    alarm = alarm_at(tx, alarm_id=alarm_id)
    if not may(by.role, Action.SHELVE):
        raise Refused(f"The role {by.role} may not {Action.SHELVE}.")
    if not 0 < minutes <= LONGEST_SHELF.total_seconds() / 60:
        mend = f"Give more than 0, at most {LONGEST_SHELF.total_seconds() / 60:.0f} minutes."
        raise Invalid(
            "That is no time to shelve for.", [Fault("minutes", minutes, "is out of range", mend)]
        )
    if alarm.open_cause is None:
        raise Conflict(
            "The alarm is closed.",
            [Fault("id", alarm_id, "has returned to normal", "There is nothing to shelve.")],
        )
    alarm.shelved_until = now + timedelta(minutes=minutes)
    words = f"shelved for {minutes:.0f} min: {reason}"
    _move(tx, alarm, AlarmState.SHELVED, now=now, words=words, by=by.name)
    return alarm


def alarm_at(tx: Tx, *, alarm_id: str) -> Alarm:
    """Return an alarm.

    Raises
    ------
    NotFound
        There is none of this id.
    """
    alarm = rows.alarm(tx, alarm_id=alarm_id)
    if alarm is None:
        mend = "Take an id from the list of alarms."
        raise NotFound("There is no such alarm.", [Fault("id", alarm_id, "is not known", mend)])
    return alarm


def _key(kind: AlarmKind, cause: str) -> str:
    """Name a cause while it is open; names too long for the column are told apart all the same."""
    key = f"{kind.value} {cause}"
    if len(key) <= _LONGEST_KEY:
        return key
    digest = hashlib.blake2b(key.encode(), digest_size=16).hexdigest()
    return f"{key[: _LONGEST_KEY - len(digest) - 1]} {digest}"


def _raise(tx: Tx, finding: Finding, *, listeners: Listeners, now: datetime) -> int:
    alarm = Alarm(
        id=uuid4().hex,
        kind=finding.kind.value,
        cause=finding.cause[:_LONGEST_KEY],
        open_cause=_key(finding.kind, finding.cause),
        site_id=finding.site,
        place_id=finding.place,
        state=AlarmState.UNACKNOWLEDGED.value,
        priority=finding.priority.value,
        audience=list(finding.audience),
        message=finding.message,
        drums=list(finding.drums),
        details=_details(finding),
        deadline=finding.deadline,
        raised_at=now,
        changed_at=now,
    )
    rows.add(tx, alarm)
    _enter(tx, alarm, now=now, words=f"raised: {finding.message}")
    notices.tell(tx, alarm, listeners=listeners, occasion=Occasion.FIRST, now=now)
    return 1


def _keep(tx: Tx, alarm: Alarm, finding: Finding, *, listeners: Listeners, now: datetime) -> int:
    """Bring an open alarm up to what its cause is now; announce it again if it grew graver."""
    before = AlarmState(alarm.state)
    worse = _graver(alarm, finding)
    shelf_over = alarm.shelved_until is not None and alarm.shelved_until <= now
    state = transition(before, active=True, worse=worse, shelf_over=shelf_over)
    told = finding.message != alarm.message
    other_drums = sorted(alarm.drums) != sorted(finding.drums)
    alarm.message, alarm.drums = finding.message, list(finding.drums)
    alarm.priority, alarm.deadline = finding.priority.value, finding.deadline
    alarm.details = _details(finding)
    alarm.site_id, alarm.place_id = finding.site, finding.place
    if state is not before:
        if state is AlarmState.UNACKNOWLEDGED:
            alarm.acknowledged_at = alarm.acknowledged_by = alarm.returned_at = None
        alarm.shelved_until = None if state is not AlarmState.SHELVED else alarm.shelved_until
        words = "graver" if worse else "active again"
        _move(tx, alarm, state, now=now, words=f"{words}: {finding.message}")
        occasion = Occasion.GRAVER if worse else Occasion.AGAIN
        notices.tell(tx, alarm, listeners=listeners, occasion=occasion, now=now)
        return 1
    if worse or other_drums:
        _move(tx, alarm, state, now=now, words=f"amended: {finding.message}")
    elif told:
        alarm.changed_at, alarm.published = now, False
        tx.session.add(alarm)
    if worse and state in TELLABLE:
        notices.tell(tx, alarm, listeners=listeners, occasion=Occasion.GRAVER, now=now)
    elif other_drums or told:
        notices.tell_amended(tx, alarm, now=now)
    return int(worse or other_drums or told)


def _gone(tx: Tx, alarm: Alarm, *, now: datetime) -> int:
    before = AlarmState(alarm.state)
    shelf_over = alarm.shelved_until is not None and alarm.shelved_until <= now
    missed = (
        alarm.kind == AlarmKind.NOT_IN_TIME
        and alarm.deadline is not None
        and alarm.deadline <= now
        # what had come right before its time was not missed
        and before is not AlarmState.RETURNED_UNACKNOWLEDGED
    )
    if missed:
        alarm.returned_at = now
        _move(tx, alarm, AlarmState.NORMAL, now=now, words="closed as missed")
        notices.tell_over(tx, alarm, now=now)
        return 1
    state = transition(before, active=False, shelf_over=shelf_over)
    if state is before:
        return 0
    if alarm.returned_at is None or before is AlarmState.UNACKNOWLEDGED:
        alarm.returned_at = now
    _move(tx, alarm, state, now=now, words=_WORDS[state])
    notices.tell_over(tx, alarm, now=now)
    return 1


def _graver(alarm: Alarm, finding: Finding) -> bool:
    phase = alarm.details.get("phase", PHASES[0])
    return (
        PHASES.index(finding.phase) > PHASES.index(phase)
        or RANK[finding.priority] < RANK[Priority(alarm.priority)]
    )


def _details(finding: Finding) -> dict[str, Any]:
    return {"phase": finding.phase}


def _move(
    tx: Tx,
    alarm: Alarm,
    state: AlarmState,
    *,
    now: datetime,
    words: str,
    by: str | None = None,
) -> None:
    alarm.state = state.value
    alarm.changed_at = now
    alarm.published = False
    if state is AlarmState.NORMAL:
        alarm.open_cause = None
    rows.add(tx, alarm)
    _enter(tx, alarm, now=now, words=words, by=by)


def _enter(tx: Tx, alarm: Alarm, *, now: datetime, words: str, by: str | None = None) -> None:
    entry = AlarmEntry(alarm_id=alarm.id, at=now, state=alarm.state, words=words[:2000], by=by)
    rows.add(tx, entry)


def open_first(alarms: Sequence[Alarm]) -> list[Alarm]:
    """Order alarms as a person takes them: unacknowledged first, then by priority and age."""
    return sorted(
        alarms,
        key=lambda a: (a.state not in WAITING, RANK[Priority(a.priority)], a.raised_at),
    )
