"""``/tokens``: bearer tokens of integrations, a manager's business."""

from collections.abc import Sequence

from fastapi import APIRouter, Depends, Response

from drumkeep.api.addresses import located
from drumkeep.api.paging import PageDep, page_of
from drumkeep.api.schemas.accounts import TokenIn, TokenMade, TokenOut, TokenPatch
from drumkeep.asgi.dependencies import CurrentAccount, Now, ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import PageOf, RowId
from drumkeep.domain.roles import Action
from drumkeep.operations import tokens
from drumkeep.storage import accounts as stored
from drumkeep.storage.tables.accounts import Token
from drumkeep.storage.transaction import Tx

router = APIRouter(
    prefix="/tokens",
    tags=["tokens"],
    dependencies=[Depends(require(Action.CHANGE_ACCOUNTS))],
)


@router.get("")
def list_tokens(tx: ReadingDep, page: PageDep) -> PageOf[TokenOut]:
    """List the tokens."""
    rows = stored.list_tokens(tx, after=page.after, limit=page.limit + 1)
    return page_of(rows, lambda shown: _out(tx, shown), limit=page.limit)


@router.get("/{token_id}")
def get_token(tx: ReadingDep, token_id: RowId) -> TokenOut:
    """Get a token."""
    return _out(tx, [tokens.token_of(tx, token_id=token_id)])[0]


@router.post("", status_code=201)
def create_token(
    tx: TransactionDep, body: TokenIn, caller: CurrentAccount, response: Response, now: Now
) -> TokenMade:
    """Make a token; its secret is in this answer and nowhere else."""
    token, secret = tokens.create_token(
        tx, **body.model_dump(), created_by=caller.account_id, now=now
    )
    located(response, "tokens", token.id)
    return TokenMade(**_out(tx, [token])[0].model_dump(), secret=secret)


@router.patch("/{token_id}")
def change_token(tx: TransactionDep, token_id: RowId, body: TokenPatch, now: Now) -> TokenOut:
    """Rename or revoke a token."""
    return _out(tx, [tokens.change_token(tx, token_id=token_id, changes=body.changes(), now=now)])[
        0
    ]


def _out(tx: Tx, rows: Sequence[Token]) -> list[TokenOut]:
    ids = [i for row in rows for i in (row.created_by, row.account_id)]
    people = stored.accounts_by_id(tx, ids=ids)
    return [
        TokenOut(
            id=row.id,
            name=row.name,
            role=row.role if row.account_id is None else people[row.account_id].role,
            scopes=sorted(tokens.scopes_of(row)),
            owner=None if row.account_id is None else people[row.account_id].name,
            created_by=None if row.created_by is None else people[row.created_by].name,
            created_at=row.created_at,
            expires_at=row.expires_at,
            last_used_at=row.last_used_at,
            revoked_at=row.revoked_at,
        )
        for row in rows
    ]
