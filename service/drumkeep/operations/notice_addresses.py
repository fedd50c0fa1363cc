"""Where people are told of alarms: everyone sets their own addresses, a manager everybody's."""

from collections.abc import Sequence
from datetime import datetime
from typing import Final, TypedDict

from drumkeep.domain.alarms import Priority
from drumkeep.domain.checks import Checks
from drumkeep.domain.notices import USUALLY_TOLD
from drumkeep.domain.roles import Action, may
from drumkeep.errors import Conflict, Fault, Invalid, NotFound, Refused
from drumkeep.notify.apprise_sender import unreadable
from drumkeep.notify.notice_addresses import CHANNELS, FIELD, faults_of, scheme_of, shown
from drumkeep.operations.accounts import account_named
from drumkeep.operations.drums import By
from drumkeep.operations.notices import tell_newcomer
from drumkeep.storage import accounts as stored
from drumkeep.storage import notices as rows
from drumkeep.storage.tables.accounts import Account
from drumkeep.storage.tables.notices import NoticeAddress
from drumkeep.storage.transaction import Tx

MOST: Final = 8
"""Addresses of one account."""


class AddressChanges(TypedDict, total=False):
    """What may change on an address; another place to be told is another address."""

    least: str


def check_url(url: str, *, by: By) -> None:
    """Check an address before any transaction is open: reading it may load a library.

    Raises
    ------
    Invalid
        It cannot be used; its value is never repeated whole.
    """
    faults = faults_of(url, trusted=may(by.role, Action.CHANGE_ACCOUNTS)) or unreadable(url)
    if faults:
        raise Invalid("The address cannot be used.", faults)


def add_address(
    tx: Tx,
    *,
    account: str,
    url: str,
    least: str = USUALLY_TOLD,
    by: By,
    now: datetime,
) -> NoticeAddress:
    """Add an address, checked by :func:`check_url`, to an account; it hears of what is open.

    Raises
    ------
    Invalid
        The priority is not known.
    Refused
        It is somebody else's account, and the asker is no manager.
    NotFound
        There is no such account.
    Conflict
        It is there already, or the account has as many as may be.
    """
    owner = owned(tx, account=account, by=by)
    checks = Checks()
    checks.one_of("least", least, Priority)
    checks.raise_faults("The address cannot be used.")
    scheme = scheme_of(url) or ""
    theirs = rows.addresses_of(tx, account_id=owner.id)
    if any(address.url == url for address in theirs):
        mend = "Change that one, or remove it first."
        raise Conflict(
            "The address is there already.", [Fault(FIELD, shown(url), "is there already", mend)]
        )
    if len(theirs) >= MOST:
        mend = "Remove one first."
        raise Conflict(
            "There are as many addresses as may be.",
            [Fault("account", account, f"has {len(theirs)} addresses", mend)],
        )
    address = NoticeAddress(
        account_id=owner.id,
        url=url,
        channel=CHANNELS[scheme],
        shown=shown(url),
        least=least,
        trusted=may(by.role, Action.CHANGE_ACCOUNTS),
        created_at=now,
    )
    rows.add(tx, address)
    tell_newcomer(tx, address=address, now=now)
    return address


def change_address(
    tx: Tx,
    *,
    account: str,
    address_id: int,
    changes: AddressChanges,
    by: By,
    now: datetime,
) -> NoticeAddress:
    """Change which priorities an address takes; what it takes now and is open, it hears of.

    Raises
    ------
    Invalid, Refused, NotFound
        As adding does.
    """
    address = address_at(tx, account=account, address_id=address_id, by=by)
    checks = Checks()
    if "least" in changes:
        checks.one_of("least", changes["least"], Priority)
    checks.raise_faults("The address cannot be changed.")
    address.least = changes.get("least", address.least)
    tell_newcomer(tx, address=address, now=now)
    return address


def remove_address(tx: Tx, *, account: str, address_id: int, by: By, now: datetime) -> None:
    """Remove an address: nothing goes there any more, and what it held is forgotten.

    Raises
    ------
    Refused, NotFound
        As adding does.
    """
    address = address_at(tx, account=account, address_id=address_id, by=by)
    address.removed_at, address.url = now, ""


def addresses(tx: Tx, *, account: str, by: By) -> Sequence[NoticeAddress]:
    """Return the addresses of an account.

    Raises
    ------
    Refused, NotFound
        As adding does.
    """
    return rows.addresses_of(tx, account_id=owned(tx, account=account, by=by).id)


def address_at(tx: Tx, *, account: str, address_id: int, by: By) -> NoticeAddress:
    """Return an address of an account.

    Raises
    ------
    Refused
        It is somebody else's account, and the asker is no manager.
    NotFound
        There is no such account, or it has no such address.
    """
    owner = owned(tx, account=account, by=by)
    address = rows.address(tx, address_id=address_id)
    if address is None or address.account_id != owner.id or address.removed_at is not None:
        mend = "Take an id from the list of the account's addresses."
        raise NotFound(
            "There is no such address.", [Fault("address", address_id, "is not known", mend)]
        )
    return address


def owned(tx: Tx, *, account: str, by: By) -> Account:
    """Return an account whose addresses the asker may see and set.

    Raises
    ------
    Refused
        It is somebody else's, and the asker is no manager.
    NotFound
        There is no such account.
    """
    if may(by.role, Action.CHANGE_ACCOUNTS):
        return account_named(tx, name=account)
    own = None if by.account_id is None else stored.account(tx, account_id=by.account_id)
    if own is None or own.name != account:
        raise Refused(f"The role {by.role} may set its own addresses only.")
    return own
