"""Alarms as they are published at the broker."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from drumkeep.domain.alarms import AlarmState
from drumkeep.domain.wording import plain
from drumkeep.notify.alarm_topics import AlarmNotice
from drumkeep.storage import alarms as rows
from drumkeep.storage import catalogue
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.transaction import Tx


def alarms_to_publish(tx: Tx) -> list[tuple[AlarmNotice, datetime]]:
    """Return alarms whose newest state is not published, each with the time of that state."""
    found = rows.unpublished(tx)
    sites = catalogue.sites_by_id(tx, ids=[alarm.site_id for alarm in found])
    return [
        (
            AlarmNotice(
                site=sites[alarm.site_id].code,
                alarm_id=alarm.id,
                body=_body(alarm),
                over=alarm.state == AlarmState.NORMAL,
            ),
            alarm.changed_at,
        )
        for alarm in found
    ]


def note_published(tx: Tx, *, changed_at: Mapping[str, datetime]) -> None:
    """Note alarms as published, unless they have changed again since."""
    for alarm_id, moment in changed_at.items():
        alarm = rows.alarm(tx, alarm_id=alarm_id)
        if alarm is not None and alarm.changed_at == moment:
            alarm.published = True
            rows.add(tx, alarm)


def _body(alarm: Alarm) -> dict[str, Any]:
    return {
        "id": alarm.id,
        "kind": alarm.kind,
        "cause": alarm.cause,
        "state": alarm.state,
        "priority": alarm.priority,
        "audience": alarm.audience,
        "message": plain(alarm.message),
        "drums": alarm.drums,
        "deadline": _time(alarm.deadline),
        "raised_at": _time(alarm.raised_at),
        "changed_at": _time(alarm.changed_at),
        "acknowledged_by": alarm.acknowledged_by,
    }


def _time(moment: datetime | None) -> str | None:
    return None if moment is None else moment.astimezone(UTC).isoformat().replace("+00:00", "Z")
