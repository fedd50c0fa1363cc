"""Alarms as tasks on the floor, and with their history."""

from collections.abc import Mapping, Sequence
from typing import Final

from drumkeep.domain.alarms import WAITING, AlarmKind, AlarmState
from drumkeep.domain.roles import Role, may_acknowledge
from drumkeep.storage import alarms as rows
from drumkeep.storage import catalogue
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.alarms import AlarmEntry as Entry
from drumkeep.storage.tables.catalogue import Site
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import AlarmEntry, AlarmView, NoticeView, TaskView
from drumkeep.web.views.notices import notices_by_alarm
from drumkeep.web.views.sentences import said

KIND_WORDS: Final[Mapping[str, str]] = {
    "seeding": "Iso near or under its seeding limit",
    "cold_load": "Load sat, sits or will sit cold",
    "gassing": "Resin gassing",
    "pressure": "High computed pressure",
    "overpressure": "Pressure over the limit",
    "storage_band": "Outside the storage band",
    "warm_up": "Warm-up must start",
    "not_in_time": "Will not be ready in time",
    "shelf_life": "Shelf life",
    "blanket_missing": "No dry gas on an open drum",
    "vacuum": "Deep vacuum in a cold drum",
    "condensation": "Iso may sweat when opened",
    "sensor_silent": "Sensor silent",
    "sensor_stuck": "Sensor stuck",
    "sensor_implausible": "Sensor not to be believed",
    "gateway_offline": "Gateway offline",
    "gateway_clock": "Gateway's clock wrong",
    "battery_low": "Battery low",
    "ratio_off": "Ratio pulsed at the gun",
    "side_mismatch": "Drums that must not be hooked up together",
    "rig_check": "Weekly check of a rig overdue",
    "not_computed": "Drums that cannot be computed",
}

OF_A_SENSOR: Final = frozenset(
    {AlarmKind.SENSOR_SILENT, AlarmKind.SENSOR_STUCK, AlarmKind.SENSOR_IMPLAUSIBLE}
)
"""Kinds whose cause is a sensor, named by what it is called."""

_HAPPENED: Final = {
    "raised": "raised: {message}",
    "graver": "graver: {message}",
    "active again": "active again: {message}",
    "amended": "amended: {message}",
}
"""What operations/alarms.py writes before the message; whole, as each language says it its way."""


def can_acknowledge(alarm: Alarm, *, role: Role) -> bool:
    """Tell whether there is something to acknowledge and the role may."""
    return alarm.state in WAITING and may_acknowledge(
        role, addressed=[Role(to) for to in alarm.audience]
    )


def task_views(
    tx: Tx, alarms: Sequence[Alarm], *, formats: Formats, role: Role
) -> tuple[TaskView, ...]:
    """Return what there is to do now: causes that are active, and not put aside."""
    sites = catalogue.sites_by_id(tx, ids=[alarm.site_id for alarm in alarms])
    places = catalogue.place_references(tx, ids=[alarm.place_id for alarm in alarms])
    active = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
    return tuple(
        TaskView(
            alarm_id=alarm.id,
            text=said(alarm.message, formats.at(sites[alarm.site_id].timezone)),
            audience=", ".join(alarm.audience),
            priority=alarm.priority,
            state=alarm.state,
            since=alarm.raised_at,
            deadline=alarm.deadline,
            drums=tuple(alarm.drums),
            place_code=None if alarm.place_id is None else places[alarm.place_id],
            timezone=sites[alarm.site_id].timezone,
            can_acknowledge=can_acknowledge(alarm, role=role),
        )
        for alarm in alarms
        if AlarmState(alarm.state) in active
    )


def alarm_views(
    tx: Tx, alarms: Sequence[Alarm], *, formats: Formats, role: Role
) -> tuple[AlarmView, ...]:
    """Return alarms with their history."""
    sites = catalogue.sites_by_id(tx, ids=[alarm.site_id for alarm in alarms])
    places = catalogue.places_by_id(tx, ids=[alarm.place_id for alarm in alarms])
    history = rows.history(tx, alarm_ids=[alarm.id for alarm in alarms])
    local = {alarm.id: formats.at(sites[alarm.site_id].timezone) for alarm in alarms}
    notices = notices_by_alarm(tx, alarms, formats=local)
    return tuple(
        _alarm_view(
            alarm,
            cause=(_sensor if alarm.kind in OF_A_SENSOR else _cause)(
                alarm,
                site=sites[alarm.site_id],
                place=None if alarm.place_id is None else places[alarm.place_id].name,
                formats=formats,
            ),
            zone=sites[alarm.site_id].timezone,
            entries=history[alarm.id],
            notices=notices[alarm.id],
            formats=formats,
            role=role,
        )
        for alarm in alarms
    )


def _alarm_view(
    alarm: Alarm,
    *,
    cause: str,
    zone: str,
    entries: Sequence[Entry],
    notices: tuple[NoticeView, ...],
    formats: Formats,
    role: Role,
) -> AlarmView:
    local = formats.at(zone)
    return AlarmView(
        id=alarm.id,
        kind=KIND_WORDS[alarm.kind],
        cause=cause,
        sensor=alarm.cause if alarm.kind in OF_A_SENSOR and alarm.cause != cause else None,
        state=alarm.state,
        priority=alarm.priority,
        audience=", ".join(alarm.audience),
        since=alarm.raised_at,
        message=said(alarm.message, local),
        drums=tuple(alarm.drums),
        acknowledged_by=alarm.acknowledged_by,
        acknowledged_at=alarm.acknowledged_at,
        returned_at=alarm.returned_at,
        history=tuple(
            AlarmEntry(at=entry.at, words=_entry_words(entry.words, local), by=entry.by)
            for entry in entries
        ),
        notices=notices,
        timezone=zone,
        can_acknowledge=can_acknowledge(alarm, role=role),
    )


def _entry_words(text: str, formats: Formats) -> str:
    """Return a line of an alarm's log; what was said of it then is a message of its own."""
    happened, _, message = text.partition(": ")
    if message and happened in _HAPPENED:
        return formats.words(_HAPPENED[happened], message=said(message, formats))
    return said(text, formats)


def _cause(alarm: Alarm, *, site: Site, place: str | None, formats: Formats) -> str:
    """Name the cause as people do: ids and times of the key stay inside."""
    if place is not None:
        return f"{place}, {site.name}"
    if alarm.cause.startswith(f"site {alarm.site_id} lot "):
        lot = alarm.cause.split(" lot ", 1)[1]
        return formats.words("lot {lot}, {site}", lot=lot, site=site.name)
    if alarm.cause.startswith(f"site {alarm.site_id} "):
        return site.name
    if alarm.cause.startswith(f"{site.code}, "):
        return f"{site.name}, {alarm.cause.removeprefix(f'{site.code}, ')}"
    if alarm.cause.startswith("gateway "):
        gateway = alarm.cause.rsplit("/", 1)[1]
        return formats.words("gateway {gateway}, {site}", gateway=gateway, site=site.name)
    return alarm.cause


def _sensor(alarm: Alarm, *, site: Site, place: str | None, formats: Formats) -> str:
    """Name a sensor by where it hangs; one that hangs nowhere by what it is called."""
    if place is not None:
        return formats.words("sensor in {place}, {site}", place=place, site=site.name)
    if alarm.drums:
        return formats.words("sensor on drum {tag}, {site}", tag=alarm.drums[0], site=site.name)
    return alarm.cause
