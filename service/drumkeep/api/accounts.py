"""``/accounts``: a manager's business."""

from fastapi import APIRouter, Depends, Response

from drumkeep.api.addresses import located
from drumkeep.api.paging import PageDep, page_of
from drumkeep.api.schemas.accounts import AccountIn, AccountOut, AccountPatch
from drumkeep.asgi.dependencies import (
    CurrentAccount,
    Now,
    ReadingDep,
    TransactionDep,
    require,
)
from drumkeep.asgi.fields import PageOf, RowId
from drumkeep.domain.roles import Action
from drumkeep.operations import accounts
from drumkeep.storage import accounts as stored
from drumkeep.storage.tables.accounts import Account

router = APIRouter(
    prefix="/accounts",
    tags=["accounts"],
    dependencies=[Depends(require(Action.CHANGE_ACCOUNTS))],
)


@router.get("")
def list_accounts(tx: ReadingDep, page: PageDep) -> PageOf[AccountOut]:
    """List the accounts."""
    rows = stored.list_accounts(tx, after=page.after, limit=page.limit + 1)
    return page_of(rows, lambda shown: [_out(row) for row in shown], limit=page.limit)


@router.get("/{account_id}")
def get_account(tx: ReadingDep, account_id: RowId) -> AccountOut:
    """Get an account."""
    return _out(accounts.account_of(tx, account_id=account_id))


@router.post("", status_code=201)
def create_account(tx: TransactionDep, body: AccountIn, response: Response, now: Now) -> AccountOut:
    """Make an account."""
    account = accounts.create_account(tx, **body.model_dump(), now=now)
    located(response, "accounts", account.id)
    return _out(account)


@router.patch("/{account_id}")
def change_account(
    tx: TransactionDep, account_id: RowId, body: AccountPatch, caller: CurrentAccount, now: Now
) -> AccountOut:
    """Change an account."""
    changes = body.changes()
    if "password" in changes:
        changes.setdefault("temporary", account_id != caller.account_id)
    return _out(accounts.change_account(tx, account_id=account_id, changes=changes, now=now))


def _out(account: Account) -> AccountOut:
    return AccountOut.model_validate(account, from_attributes=True)
