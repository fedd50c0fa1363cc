"""The outbox: what is to be told of alarms, by whom it is claimed, and what became of it.

A notice is queued in the transaction in which its alarm changes. Whoever sends claims it first, and
says afterwards what came of it; between the two no transaction is open. A sender that dies in
between leaves a claim that runs out, and the notice is sent once more with the same id: that, and
an answer that gets lost, are the only ways in which somebody is told twice.
"""

import logging
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Final
from uuid import uuid4

from drumkeep.domain.alarms import RANK, AlarmKind, AlarmState, Priority
from drumkeep.domain.notice_words import Cause, Reader, Text, notice_text, test_text
from drumkeep.domain.notices import (
    AMENDED_AFTER,
    CLAIMED_FOR,
    KEPT,
    MOST_PER_ALARM,
    TELLABLE,
    UNKNOWN,
    Channel,
    NoticeState,
    Occasion,
    Said,
    corrected,
    exhausted,
    pause_after,
    wants,
)
from drumkeep.errors import Conflict, Fault
from drumkeep.notify.apprise_sender import Letter
from drumkeep.storage import alarms as alarm_rows
from drumkeep.storage import catalogue
from drumkeep.storage import notices as rows
from drumkeep.storage.tables.accounts import Account
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.notices import Notice, NoticeAddress
from drumkeep.storage.transaction import Tx

_LOG: Final = logging.getLogger(__name__)
_LONGEST_TEXT: Final = 1000


def tell(tx: Tx, alarm: Alarm, *, occasion: Occasion, now: datetime) -> None:
    """Queue what is to be told of an alarm that was raised, grew graver or came back.

    Who has not been told yet gets a first notice. Who has a notice waiting gets that one, which is
    worded when it is sent; who has not heard that it was over need not hear that it is back.
    """
    notices = rows.of_alarms(tx, alarm_ids=[alarm.id])[alarm.id]
    for address in _audience(tx, alarm):
        own = [notice for notice in notices if notice.address_id == address.id]
        unheard = list(_waiting(own, Occasion.OVER))
        _drop(unheard, reason="it came back before", now=now)
        waiting = list(_waiting(own))
        for notice in waiting:
            notice.priority = alarm.priority
            notice.due_at = now if occasion is Occasion.GRAVER else notice.due_at
        if waiting or (unheard and occasion is Occasion.AGAIN):
            continue
        last = _last_said(own)
        if last is None:
            said = Occasion.FIRST
        else:
            said = Occasion.AGAIN if last.occasion == Occasion.OVER else occasion
        _queue(tx, alarm, address, own, occasion=said, due_at=now, now=now)


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


def waits(tx: Tx, *, now: datetime) -> bool:
    """Tell whether there is something for :func:`claim` to do."""
    return rows.is_due(tx, now=now, claimed_before=now - CLAIMED_FOR)


def claim(
    tx: Tx, *, most: int, link_base: str | None, now: datetime, sending: bool = True
) -> list[Letter]:
    """Claim notices that are due, gravest first, one an address; end those not needed any more.

    Parameters
    ----------
    most
        How many the sender can take.
    link_base
        How people reach the pages; None where that is not known.
    sending
        False where notices are switched off: then all of them are dropped.
    """
    found = rows.due(tx, now=now, claimed_before=now - CLAIMED_FOR)
    owners = rows.owners(tx, address_ids=[notice.address_id for notice in found])
    alarms = {notice.alarm_id for notice in found if notice.alarm_id is not None}
    told = rows.of_alarms(tx, alarm_ids=sorted(alarms))
    dead = {notice.address_id for notice in found if notice.state == NoticeState.SENDING}
    busy = rows.busy_addresses(tx) - dead
    letters: list[Letter] = []
    for notice in sorted(found, key=lambda n: (RANK[Priority(n.priority)], n.due_at, n.number)):
        address, account = owners[notice.address_id]
        alarm = None if notice.alarm_id is None else alarm_rows.alarm(tx, alarm_id=notice.alarm_id)
        died = notice.state == NoticeState.SENDING
        if notice.address_id in busy and not died:
            continue  # what is being sent there decides over what comes after it
        own = [n for n in told.get(notice.alarm_id or "", ()) if n.address_id == address.id]
        needless = (
            _needless(notice, address, account, alarm, own)
            if sending
            else "notices are switched off"
        )
        if needless is not None and died:
            _end(notice, NoticeState.FAILED, reason=UNKNOWN, now=now)
        elif needless is not None:
            _end(notice, NoticeState.DROPPED, reason=needless, now=now)
        elif len(letters) < most:
            busy.add(notice.address_id)
            letters.append(
                _claimed(tx, notice, address, account, alarm, link_base=link_base, now=now)
            )
    return letters


def settle(
    tx: Tx, *, notice_id: str, tries: int, reason: str | None, now: datetime
) -> Notice | None:
    """Record what came of a claimed notice.

    Parameters
    ----------
    tries
        Of the claim: what a sender says whose claim ran out counts only where it was successful.
    reason
        Why it was not taken; None where it was.

    Returns
    -------
    Notice or None
        As it stands now; None where another has it.
    """
    notice = rows.notice(tx, notice_id=notice_id)
    if notice is None or (notice.tries != tries and reason is not None):
        return None
    if notice.state not in (NoticeState.SENDING, NoticeState.WAITING):
        return None
    occasion = Occasion(notice.occasion)
    if reason is None:
        _end(notice, NoticeState.SENT, reason="", now=now)
    elif exhausted(occasion, tries=tries, queued_at=notice.queued_at, now=now):
        _end(notice, NoticeState.FAILED, reason=reason, now=now)
    else:
        notice.state, notice.reason = NoticeState.WAITING, reason
        notice.due_at = now + pause_after(tries, notice_id=notice.id)
    if reason is None:
        _LOG.info("notice %s, try %d: sent", notice.id, tries)
    else:
        _LOG.warning("notice %s, try %d: %s, %s", notice.id, tries, notice.state, reason)
    return notice


def forget_old(tx: Tx, *, now: datetime) -> int:
    """Delete what became of notices of long ago; return how many there were."""
    return rows.forget(tx, before=now - KEPT)


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


def _audience(tx: Tx, alarm: Alarm) -> Iterator[NoticeAddress]:
    """Yield the addresses that take this alarm, one that several people share but once."""
    seen = set()
    for address, account in rows.listeners(tx):
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
    if number > MOST_PER_ALARM:
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
        _end(notice, NoticeState.DROPPED, reason=reason, now=now)


def _end(notice: Notice, state: NoticeState, *, reason: str, now: datetime) -> None:
    notice.state, notice.reason, notice.ended_at = state, reason, now


def _needless(
    notice: Notice,
    address: NoticeAddress,
    account: Account,
    alarm: Alarm | None,
    own: Sequence[Notice],
) -> str | None:
    """Return why a notice need not go out any more; None where it must.

    ``own`` are all notices of its alarm to its address.
    """
    if address.removed_at is not None:
        return "the address was removed"
    if account.disabled_at is not None:
        return "the account is closed"
    if alarm is None:
        return None
    if account.role not in alarm.audience:
        return f"it is not for the {account.role}"
    if not wants(Priority(address.least), Priority(alarm.priority)):
        return "the address takes graver ones only"
    return _overtaken(notice, alarm, own)


def _overtaken(notice: Notice, alarm: Alarm, own: Sequence[Notice]) -> str | None:
    """Return what has happened to the alarm that makes a notice needless."""
    if notice.occasion != Occasion.OVER and AlarmState(alarm.state) not in TELLABLE:
        shelved = AlarmState(alarm.state) is AlarmState.SHELVED
        return "the alarm was shelved before" if shelved else "it was over before"
    if any(later.number > notice.number for later in _waiting(own)):
        return "a later one says it"
    if notice.occasion in (Occasion.FIRST, Occasion.GRAVER, Occasion.AGAIN):
        return None
    had = [n for n in own if n.state == NoticeState.SENT or n.reason == UNKNOWN]
    if not had:
        return "the one before never went out"
    last = max(had, key=lambda n: n.number)
    said = Said(last.told_drums, last.told_deadline)
    if notice.occasion == Occasion.AMENDED and not corrected(
        said, Said(alarm.drums, alarm.deadline)
    ):
        return "it is as it was told before"
    return None


def _claimed(
    tx: Tx,
    notice: Notice,
    address: NoticeAddress,
    account: Account,
    alarm: Alarm | None,
    *,
    link_base: str | None,
    now: datetime,
) -> Letter:
    maybe_had = notice.state == NoticeState.SENDING
    reader = Reader(units=account.units, channel=Channel(address.channel))
    if alarm is None:
        link = None if link_base is None else f"{link_base}/notices"
        text = test_text(reader, name=account.display_name, link=link)
    else:
        link = None if link_base is None else f"{link_base}/alarms#alarm-{alarm.id}"
        text = _text(tx, notice, alarm, reader=reader, link=link, maybe_had=maybe_had, now=now)
        notice.told_drums, notice.told_deadline = list(alarm.drums), alarm.deadline
    notice.state, notice.claimed_at, notice.tries = NoticeState.SENDING, now, notice.tries + 1
    notice.text = text.body[:_LONGEST_TEXT]
    return Letter(
        notice_id=notice.id,
        tries=notice.tries,
        url=address.url,
        title=text.title,
        body=text.body,
        priority=Priority(notice.priority),
        over=notice.occasion in (Occasion.OVER, Occasion.TEST),
        trusted=address.trusted,
    )


def _text(
    tx: Tx,
    notice: Notice,
    alarm: Alarm,
    *,
    reader: Reader,
    link: str | None,
    maybe_had: bool,
    now: datetime,
) -> Text:
    site = catalogue.sites_by_id(tx, ids=[alarm.site_id])[alarm.site_id]
    cause = Cause(
        kind=AlarmKind(alarm.kind),
        priority=Priority(alarm.priority),
        audience=tuple(alarm.audience),
        message=alarm.message,
        drums=tuple(alarm.drums),
        deadline=alarm.deadline,
        site=site.name,
        timezone=site.timezone,
        acknowledged_by=alarm.acknowledged_by,
        returned_at=alarm.returned_at,
    )
    occasion = Occasion(notice.occasion)
    return notice_text(
        cause, occasion=occasion, reader=reader, link=link, maybe_had=maybe_had, now=now
    )
