"""``/accounts/{account}/notice-addresses``: where somebody is told of alarms."""

from typing import Annotated

from fastapi import APIRouter, Depends, Response

from drumkeep.api.addresses import located
from drumkeep.api.notices import notice_out
from drumkeep.api.schemas.notices import (
    NoticeAddressIn,
    NoticeAddressOut,
    NoticeAddressPatch,
    NoticeOut,
)
from drumkeep.asgi.dependencies import CurrentAccount, Now, ReadingDep, TransactionDep
from drumkeep.asgi.fields import RowId
from drumkeep.asgi.happenings import by_caller
from drumkeep.operations import notice_addresses as addresses
from drumkeep.operations.accounts import account_named
from drumkeep.operations.notices import queue_test
from drumkeep.storage.tables.notices import NoticeAddress

router = APIRouter(prefix="/accounts/{account}/notice-addresses", tags=["notices"])


def _checked(caller: CurrentAccount, body: NoticeAddressIn) -> NoticeAddressIn:
    """Check the address before the transaction is open."""
    addresses.check_url(body.url, by=by_caller(caller))
    return body


@router.get("")
def list_addresses(tx: ReadingDep, account: str, caller: CurrentAccount) -> list[NoticeAddressOut]:
    """List the addresses of an account: one's own, or as a manager anybody's."""
    found = addresses.addresses(tx, account=account, by=by_caller(caller))
    return [_out(address, account) for address in found]


@router.post("", status_code=201)
def add_address(
    *,
    body: Annotated[NoticeAddressIn, Depends(_checked)],
    tx: TransactionDep,
    account: str,
    caller: CurrentAccount,
    response: Response,
    now: Now,
) -> NoticeAddressOut:
    """Add an address to an account."""
    made = addresses.add_address(
        tx, account=account, url=body.url, least=body.least, by=by_caller(caller), now=now
    )
    located(response, "accounts", account, "notice-addresses", made.id)
    return _out(made, account)


@router.get("/{address_id}")
def get_address(
    tx: ReadingDep, account: str, address_id: RowId, caller: CurrentAccount
) -> NoticeAddressOut:
    """Get an address."""
    found = addresses.address_at(tx, account=account, address_id=address_id, by=by_caller(caller))
    return _out(found, account)


@router.patch("/{address_id}")
def change_address(
    *,
    tx: TransactionDep,
    account: str,
    address_id: RowId,
    body: NoticeAddressPatch,
    caller: CurrentAccount,
    now: Now,
) -> NoticeAddressOut:
    """Change which priorities an address takes."""
    changed = addresses.change_address(
        tx,
        account=account,
        address_id=address_id,
        changes=body.changes(),
        by=by_caller(caller),
        now=now,
    )
    return _out(changed, account)


@router.delete("/{address_id}", status_code=204)
def remove_address(
    tx: TransactionDep, account: str, address_id: RowId, caller: CurrentAccount, now: Now
) -> None:
    """Remove an address: nothing goes there any more."""
    addresses.remove_address(
        tx, account=account, address_id=address_id, by=by_caller(caller), now=now
    )


@router.post("/{address_id}/test", status_code=202)
def test_address(
    tx: TransactionDep, account: str, address_id: RowId, caller: CurrentAccount, now: Now
) -> NoticeOut:
    """Send a test the way that every notice goes; ``/notices`` tells what becomes of it."""
    address = addresses.address_at(tx, account=account, address_id=address_id, by=by_caller(caller))
    notice = queue_test(tx, address=address, now=now)
    return notice_out(notice, address, account_named(tx, name=account))


def _out(address: NoticeAddress, account: str) -> NoticeAddressOut:
    return NoticeAddressOut(
        id=address.id,
        account=account,
        channel=address.channel,
        shown=address.shown,
        least=address.least,
        created_at=address.created_at,
    )
