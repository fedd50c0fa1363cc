"""Notices as pages show them: to whom, how, and what became of each, in words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from drumkeep.domain.alarms import Priority
from drumkeep.domain.notices import Channel, NoticeState, Occasion
from drumkeep.operations.notices import untold
from drumkeep.storage import notices as rows
from drumkeep.storage.tables.accounts import Account
from drumkeep.storage.tables.alarms import Alarm
from drumkeep.storage.tables.notices import Notice, NoticeAddress
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import NoticeView
from drumkeep.web.wording import OR

LEAST_WORDS: Final[Mapping[str, str]] = {
    Priority.CRITICAL: "critical alarms only",
    Priority.HIGH: "high and critical alarms",
    Priority.MEDIUM: "medium alarms and graver",
    Priority.LOW: "all alarms",
}
"""Which alarms an address takes, by the least."""

CHANNEL_WORDS: Final[Mapping[str, str]] = {
    Channel.MAIL: "mail",
    Channel.TEXT: "text message",
    Channel.CHAT: "chat",
    Channel.PUSH: "push message",
    Channel.ON_CALL: "on-call service",
    Channel.WEBHOOK: "webhook",
}

_TOLD: Final[Mapping[str, str]] = {
    Occasion.FIRST: "To {person}, {channel}",
    Occasion.GRAVER: "That it is graver, to {person}, {channel}",
    Occasion.AGAIN: "That it is back, to {person}, {channel}",
    Occasion.AMENDED: "Amended, to {person}, {channel}",
    Occasion.OVER: "That it is over, to {person}, {channel}",
    Occasion.TEST: "A test to {person}, {channel}",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressView:
    """One address as its owner sees it."""

    id: int
    shown: str
    channel: str
    least: str
    least_words: str
    tests: tuple[NoticeView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonView:
    """One person with the addresses at which they are told."""

    name: str
    display_name: str
    role: str
    addresses: tuple[AddressView, ...]


def notice_views(tx: Tx, notices: Sequence[Notice], *, formats: Formats) -> tuple[NoticeView, ...]:
    """Return notices in words."""
    owners = rows.owners(tx, address_ids=[notice.address_id for notice in notices])
    return tuple(_view(notice, *owners[notice.address_id], formats=formats) for notice in notices)


def notices_by_alarm(
    tx: Tx, alarms: Sequence[Alarm], *, formats: Mapping[str, Formats]
) -> dict[str, tuple[NoticeView, ...]]:
    """Return the notices of alarms in words, each in its site's time, oldest first."""
    found = rows.of_alarms(tx, alarm_ids=[alarm.id for alarm in alarms])
    told = {notice.address_id for notices in found.values() for notice in notices}
    owners = rows.owners(tx, address_ids=sorted(told))
    return {
        alarm.id: tuple(
            _view(notice, *owners[notice.address_id], formats=formats[alarm.id])
            for notice in found[alarm.id]
        )
        for alarm in alarms
    }


def unheard_words(tx: Tx, alarms: Sequence[Alarm]) -> str:
    """Return a warning where nobody would hear of an alarm away from the pages; else nothing."""
    unheard = untold(tx, alarms)
    if not unheard:
        return ""
    roles = dict.fromkeys(role for alarm in unheard for role in alarm.audience)
    any_role = f" {OR} ".join(roles)
    if len(unheard) == 1 == len(alarms):
        return (
            f"Nobody hears of this alarm away from these pages: no {any_role} has an address for "
            "notices that takes it."
        )
    if len(unheard) == 1:
        return (
            f"Nobody hears of 1 alarm away from these pages: no {any_role} has an address for "
            "notices that takes it."
        )
    return (
        f"Nobody hears of {len(unheard)} alarms away from these pages: no {any_role} has an "
        "address for notices that takes it."
    )


def person_views(
    tx: Tx, accounts: Sequence[Account], *, formats: Formats
) -> tuple[PersonView, ...]:
    """Return people with their addresses."""
    return tuple(
        PersonView(
            name=account.name,
            display_name=account.display_name,
            role=account.role,
            addresses=tuple(
                _address_view(tx, address, account, formats=formats)
                for address in rows.addresses_of(tx, account_id=account.id)
            ),
        )
        for account in accounts
    )


def _address_view(
    tx: Tx, address: NoticeAddress, account: Account, *, formats: Formats
) -> AddressView:
    tests = rows.tests_of(tx, address_id=address.id)[:1]
    return AddressView(
        id=address.id,
        shown=address.shown,
        channel=CHANNEL_WORDS[address.channel],
        least=address.least,
        least_words=LEAST_WORDS[address.least],
        tests=tuple(_view(test, address, account, formats=formats) for test in tests),
    )


def _view(
    notice: Notice, address: NoticeAddress, account: Account, *, formats: Formats
) -> NoticeView:
    return NoticeView(
        told=formats.words(
            _TOLD[notice.occasion],
            person=account.display_name,
            channel=formats.words(CHANNEL_WORDS[address.channel]),
        ),
        fate=_fate(notice, formats),
        state=notice.state,
        at=notice.ended_at or notice.queued_at,
        text=notice.text,
        alarm_id=notice.alarm_id,
    )


def _fate(notice: Notice, formats: Formats) -> str:
    words = formats.words
    soon = notice.due_at - formats.now < timedelta(minutes=1)
    match NoticeState(notice.state):
        case NoticeState.SENT if notice.tries > 1:
            message = "sent {at}, after {tries}"
        case NoticeState.SENT:
            message = "sent {at}"
        case NoticeState.FAILED:
            message = "gave up after {tries} {at}: {reason}"
        case NoticeState.DROPPED:
            message = "not sent: {reason}"
        case NoticeState.SENDING:
            message = "being sent"
        case NoticeState.WAITING if notice.tries:
            message = "not yet: {reason}, trying again {again} ({tries} so far)"
        case _:
            message = "waiting to be sent"
    number = f"{notice.tries}"
    return words(
        message,
        at=formats.when(notice.ended_at),
        tries=words("1 try") if notice.tries == 1 else words("{number} tries", number=number),
        reason=formats.tongue.say(notice.reason),
        again=words("within a minute") if soon else formats.when(notice.due_at),
    )
