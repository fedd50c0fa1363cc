"""What is to be told of alarms: queued in the transaction in which the alarm changes.

Nothing is sent from here; ``operations.outbox`` says who may send and records what came of it.
"""

import logging
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Final
from uuid import uuid4

from drumkeep.domain.alarms import AlarmState, Priority
from drumkeep.domain.notices import (
    AMENDED_AFTER,
    MOST_PER_ALARM,
    TELLABLE,
    NoticeState,
    Occasion,
    Said,
    corrected,
    wants,
)
from drumkeep.errors import Conflict, Fault
from drumkeep.storage import alarms as alarm_rows
from drumkeep.storage import notices as rows
from drumkeep.storage.tables.accounts import Account
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.notices import Notice, NoticeAddress
from drumkeep.storage.transaction import Tx

_LOG: Final = logging.getLogger(__name__)

Listeners = Sequence[tuple[NoticeAddress, Account]]
"""Addresses in use, and whose they are."""


def tell(tx: Tx, alarm: Alarm, *, listeners: Listeners, occasion: Occasion, now: datetime) -> None:
    """Queue what is to be told of an alarm that was raised, grew graver or came back.

    Who has not been told yet gets a first notice. Who has a notice waiting gets that one, which is
    worded when it is sent; who has not heard that it was over need not hear that it is back.
    """
    audience = list(_audience(alarm, listeners))
    if not audience:
        return
    notices = rows.of_alarms(tx, alarm_ids=[alarm.id])[alarm.id]
    for address in audience:
        own = [notice for notice in notices if notice.address_id == address.id]
        unheard = list(_waiting(own, Occasion.OVER))
        _drop(unheard, reason="it came back before", now=now)
        waiting = list(_waiting(own))
        for notice in waiting:
            notice.priority = alarm.priority
            if notice.occasion == Occasion.AMENDED:
                notice.occasion = occasion
            if occasion is Occasion.GRAVER:
                notice.due_at = now
        if waiting or (unheard and occasion is Occasion.AGAIN):
            continue
        last = _last_said(own)
        if last is None:
            said = Occasion.FIRST
        else:
            said = Occasion.AGAIN if last.occasion == Occasion.OVER else occasion
        _queue(tx, alarm, address, own, occasion=said, due_at=now, now=now)


def tell_newcomer(tx: Tx, *, address: NoticeAddress, now: datetime) -> None:
    """Queue the open alarms that an address takes and has not been told: it came late to them."""
    listeners = rows.listeners(tx)
    open_ones = [a for a in alarm_rows.open_alarms(tx) if AlarmState(a.state) in TELLABLE]
    notices = rows.of_alarms(tx, alarm_ids=[alarm.id for alarm in open_ones])
    for alarm in open_ones:
        own = [notice for notice in notices[alarm.id] if notice.address_id == address.id]
        if not own and address in _audience(alarm, listeners):
            _queue(tx, alarm, address, own, occasion=Occasion.FIRST, due_at=now, now=now)


def tell_amended(tx: Tx, alarm: Alarm, *, now: datetime) -> None:
    """Queue a correction to those who were told something that is no longer so."""
    for own in _by_address(rows.of_alarms(tx, alarm_ids=[alarm.id])[alarm.id]):
        last = _last_said(own)
        if last is None or last.occasion == Occasion.OVER or any(_waiting(own)):
            continue
        said = Said(last.told_drums, last.told_deadline)
        address = rows.address(tx, address_id=last.address_id)
        if address is not None and corrected(said, Said(alarm.drums, alarm.deadline)):
            due_at = now + AMENDED_AFTER
            _queue(tx, alarm, address, own, occasion=Occasion.AMENDED, due_at=due_at, now=now)


def tell_over(tx: Tx, alarm: Alarm, *, now: datetime) -> None:
    """Queue that it is over to those who were told, and take back what has not gone out."""
    for own in _by_address(rows.of_alarms(tx, alarm_ids=[alarm.id])[alarm.id]):
        _drop(list(_waiting(own)), reason="it was over before", now=now)
        last = _last_said(own)
        if last is None or last.occasion == Occasion.OVER:
            continue
        address = rows.address(tx, address_id=last.address_id)
        if address is not None:
            _queue(tx, alarm, address, own, occasion=Occasion.OVER, due_at=now, now=now)


def queue_test(tx: Tx, *, address: NoticeAddress, now: datetime) -> Notice:
    """Queue a notice that says that notices arrive; it goes the way of all others.

    Raises
    ------
    Conflict
        One is on its way.
    """
    tests = rows.tests_of(tx, address_id=address.id)
    if any(test.state in (NoticeState.WAITING, NoticeState.SENDING) for test in tests):
        mend = "Wait for what becomes of it; the page of notices shows that."
        raise Conflict(
            "A test is on its way.", [Fault("address", address.shown, "is being tested", mend)]
        )
    notice = Notice(
        id=f"test-{address.id}-{uuid4().hex}",
        alarm_id=None,
        address_id=address.id,
        occasion=Occasion.TEST,
        number=tests[0].number + 1 if tests else 1,
        state=NoticeState.WAITING,
        priority=Priority.LOW,
        queued_at=now,
        due_at=now,
    )
    rows.add(tx, notice)
    return notice


def untold(tx: Tx, alarms: Sequence[Alarm]) -> list[Alarm]:
    """Return the alarms that somebody should hear of and nobody has an address to hear by."""
    takers = [(account.role, Priority(a.least)) for a, account in rows.listeners(tx)]
    return [
        alarm
        for alarm in alarms
        if AlarmState(alarm.state) in TELLABLE
        and wants(Priority.HIGH, Priority(alarm.priority))
        and not any(
            role in alarm.audience and wants(least, Priority(alarm.priority))
            for role, least in takers
        )
    ]


def _audience(alarm: Alarm, listeners: Listeners) -> Iterator[NoticeAddress]:
    """Yield the addresses that take this alarm, one that several people share but once."""
    seen = set()
    for address, account in listeners:
        takes = wants(Priority(address.least), Priority(alarm.priority))
        if takes and account.role in alarm.audience and address.url not in seen:
            seen.add(address.url)
            yield address


def _by_address(notices: Sequence[Notice]) -> list[list[Notice]]:
    ids = dict.fromkeys(notice.address_id for notice in notices)
    return [[notice for notice in notices if notice.address_id == one] for one in ids]


def _waiting(notices: Sequence[Notice], occasion: Occasion | None = None) -> Iterator[Notice]:
    return (
        notice
        for notice in notices
        if notice.state == NoticeState.WAITING and (occasion is None or notice.occasion == occasion)
    )


def _last_said(notices: Sequence[Notice]) -> Notice | None:
    """Return the last notice that went out, or is going out now."""
    said = [n for n in notices if n.state in (NoticeState.SENT, NoticeState.SENDING)]
    return max(said, key=lambda n: n.number, default=None)


def _queue(
    tx: Tx,
    alarm: Alarm,
    address: NoticeAddress,
    own: Sequence[Notice],
    *,
    occasion: Occasion,
    due_at: datetime,
    now: datetime,
) -> None:
    number = max((notice.number for notice in own), default=0) + 1
    if number > MOST_PER_ALARM and occasion is not Occasion.OVER:
        _LOG.warning("alarm %s: enough was told to address %d", alarm.id, address.id)
        return
    rows.add(
        tx,
        Notice(
            id=f"{alarm.id}-{address.id}-{number}",
            alarm_id=alarm.id,
            address_id=address.id,
            occasion=occasion,
            number=number,
            state=NoticeState.WAITING,
            priority=alarm.priority,
            queued_at=now,
            due_at=due_at,
        ),
    )


def _drop(notices: Sequence[Notice], *, reason: str, now: datetime) -> None:
    for notice in notices:
        notice.state, notice.reason, notice.ended_at = NoticeState.DROPPED, reason, now
