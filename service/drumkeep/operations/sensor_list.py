"""The list of all sensors by pages: those that need somebody first, and only what is sought."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import chain
from typing import Final

from drumkeep.domain.alarm_rules.watch import silent_after
from drumkeep.domain.devices import is_low
from drumkeep.domain.grid import from_ms
from drumkeep.domain.sensors import OF_A_DEVICE
from drumkeep.operations.devices import DeviceSaying, device_sayings
from drumkeep.storage import alarms, strays
from drumkeep.storage import sensor_list as rows
from drumkeep.storage.sensor_list import HangingSensor
from drumkeep.storage.tables.strays import Stray
from drumkeep.storage.transaction import Tx

AT_ONCE: Final = 25
"""Sensors on a page: the day of each is read, judged beside its neighbours' and drawn."""


@dataclass(frozen=True, kw_only=True)
class SensorPage:
    """What one page of the list shows.

    Attributes
    ----------
    hanging
        Sensors that hang somewhere, by place; all that need somebody are before all others.
    sayings
        What gateways and sensors say of themselves; what is low comes before what is not.
    beside
        What those that hang here have beside them.
    loose
        Names of sensors that hang nowhere.
    strays
        Sensors that are not registered. They are paged beside the others, so that whoever sends
        made-up names moves no doubted sensor off the first page.
    number, pages
        Which page it is, from 1, and of how many.
    """

    hanging: Sequence[HangingSensor]
    sayings: Sequence[DeviceSaying]
    beside: Sequence[DeviceSaying]
    loose: Sequence[str]
    strays: Sequence[Stray]
    number: int
    pages: int


def sensor_page(tx: Tx, *, sought: str, number: int, now: datetime) -> SensorPage:
    """Return a page of the list.

    What needs somebody is told by the open alarms and by the newest readings, so that for a page
    of few the readings of all others stay unread.

    Parameters
    ----------
    tx
        Any transaction.
    sought
        Words that all stand in the name of what is listed, of its place or site, or of its drum.
    number
        Which page; past the last it is the last.
    now
        The present, UTC.
    """
    alarmed = alarms.alarmed_sensors(tx)
    hanging = [one for one in rows.hanging(tx) if is_sought(sought, *_names(one))]
    urgent = {one.id for one in hanging if one.name in alarmed or _is_silent(one, now=now)}
    every = device_sayings(tx)
    sayings = sorted(
        (one for one in every if is_sought(sought, one.name, one.bearer)),
        key=lambda one: (one.bearer, one.quantity),
    )
    loose = [name for name in rows.hanging_nowhere(tx, but=OF_A_DEVICE) if is_sought(sought, name)]
    low = {one.sensor_id for one in sayings if is_low(one.quantity, one.value)}
    listed: list[HangingSensor | DeviceSaying | str] = list(
        chain(
            (one for one in hanging if one.id in urgent),
            (one for one in sayings if one.sensor_id in low),
            (one for one in hanging if one.id not in urgent),
            (one for one in sayings if one.sensor_id not in low),
            loose,
        )
    )
    heard = [row for row in strays.list_strays(tx) if is_sought(sought, row.name)]
    pages = max(-(-len(listed) // AT_ONCE), -(-len(heard) // AT_ONCE), 1)
    number = min(number, pages)
    leaf = slice((number - 1) * AT_ONCE, number * AT_ONCE)
    shown = listed[leaf]
    here = [one for one in shown if isinstance(one, HangingSensor)]
    ids = {one.id for one in here}
    return SensorPage(
        hanging=here,
        sayings=[one for one in shown if isinstance(one, DeviceSaying)],
        beside=[one for one in every if any(near.sensor_id in ids for near in one.beside)],
        loose=[one for one in shown if isinstance(one, str)],
        strays=heard[leaf],
        number=number,
        pages=pages,
    )


def is_sought(sought: str, *names: str) -> bool:
    """Whether every word that is sought stands in one of these names."""
    text = " ".join(names).casefold()
    return all(word in text for word in sought.casefold().split())


def _names(one: HangingSensor) -> tuple[str, ...]:
    reference = f"{one.site_code}/{one.place_code}"
    return one.name, one.place, reference, one.site, one.drum or ""


def _is_silent(one: HangingSensor, *, now: datetime) -> bool:
    heard = one.hung_at if one.heard_ms is None else from_ms(one.heard_ms)
    return now - heard > silent_after(one.interval_s)
