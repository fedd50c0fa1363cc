"""The way out of the outbox: who sends claims first, and says afterwards what came of it.

Between the two no transaction is open. A sender that dies in between leaves a claim that runs out,
and the notice is sent once more with the same key: that, and an answer that gets lost or is late,
are the only ways in which somebody is told twice.
"""

import logging
from collections.abc import Sequence
from datetime import datetime
from hashlib import blake2b
from typing import Final

from drumkeep.domain.alarms import RANK, AlarmKind, AlarmState, Priority
from drumkeep.domain.notice_words import Cause, Reader, Text, notice_text, test_text
from drumkeep.domain.notices import (
    CLAIMED_FOR,
    KEPT,
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
from drumkeep.language.tongue import ENGLISH, tongue
from drumkeep.notify.apprise_sender import NO_ANSWER, Letter
from drumkeep.storage import alarms as alarm_rows
from drumkeep.storage import catalogue
from drumkeep.storage import notices as rows
from drumkeep.storage.tables.accounts import Account
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.notices import Notice, NoticeAddress
from drumkeep.storage.transaction import Tx

_LOG: Final = logging.getLogger(__name__)
_LONGEST_TEXT: Final = 1000


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
        spent = died and exhausted(
            Occasion(notice.occasion), tries=notice.tries, queued_at=notice.queued_at, now=now
        )
        if spent or (needless is not None and died):
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
    waiting = [other for other in own if other.state == NoticeState.WAITING]
    if any(later.number > notice.number for later in waiting):
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
    maybe_had = notice.state == NoticeState.SENDING or notice.reason == NO_ANSWER
    speech = tongue(account.language or ENGLISH)
    reader = Reader(units=account.units, channel=Channel(address.channel), speech=speech)
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
        key=_key(notice, alarm),
        tries=notice.tries,
        url=address.url,
        title=text.title,
        body=text.body,
        priority=Priority(notice.priority),
        over=notice.occasion in (Occasion.OVER, Occasion.TEST),
        trusted=address.trusted,
    )


def _key(notice: Notice, alarm: Alarm | None) -> str:
    """Return what a notice is known again by: another where the alarm says something new.

    Who drops what bears a key that was there must not miss that it is graver by now.
    """
    if alarm is None:
        return notice.id
    said = repr((alarm.message, alarm.priority, sorted(alarm.drums), alarm.returned_at))
    return f"{notice.id}-{blake2b(said.encode(), digest_size=4).hexdigest()}"


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
