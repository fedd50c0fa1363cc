"""Who is told of alarms where: one's own addresses, and for a manager everybody's."""

from typing import Annotated, Final

from fastapi import APIRouter, Depends, Form
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, services
from drumkeep.asgi.fields import RowId
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.alarms import Priority
from drumkeep.domain.notices import USUALLY_TOLD
from drumkeep.domain.roles import Action, may
from drumkeep.errors import Conflict, Fault, Invalid
from drumkeep.notify.notice_addresses import SERVICES
from drumkeep.operations import notice_addresses as addresses
from drumkeep.operations.notices import queue_test
from drumkeep.storage import accounts as account_rows
from drumkeep.storage import notices as rows
from drumkeep.storage.tables.accounts import Account
from drumkeep.storage.transaction import Tx
from drumkeep.web.shell import Shell, ShellDep, see
from drumkeep.web.views.notices import LEAST_WORDS, notice_views, person_views

router = APIRouter()

_LATEST: Final = 20
_MOST_PEOPLE: Final = 1000
_UNUSABLE: Final = 422
_PAGE: Final = "/notices"

Text = Annotated[str, Form(max_length=2000)]


@router.get("/notices")
def notices_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """Show where people are told, and what was told lately."""
    return _page(tx, shell)


def _faults_of(shell: ShellDep, url: Text = "") -> tuple[Fault, ...]:
    """Check the address that was typed before the transaction is open."""
    try:
        addresses.check_url(url.strip(), by=by_caller(shell.caller))
    except Invalid as error:
        return error.faults
    return ()


@router.post("/notices/{account}")
def add(
    *,
    faults: Annotated[tuple[Fault, ...], Depends(_faults_of)],
    tx: TransactionDep,
    shell: ShellDep,
    account: str,
    url: Text = "",
    least: Text = USUALLY_TOLD,
) -> Response:
    """Add an address to an account."""
    if not faults:
        try:
            addresses.add_address(
                tx,
                account=account,
                url=url.strip(),
                least=least,
                by=by_caller(shell.caller),
                now=shell.now,
            )
        except (Invalid, Conflict) as error:
            faults = error.faults
    if not faults:
        return see(f"{_PAGE}#{account}")
    answer = _page(tx, shell, account=account, faults=faults)
    answer.status_code = _UNUSABLE
    return answer


@router.post("/notices/{account}/{address_id}/least")
def change(
    tx: TransactionDep, shell: ShellDep, account: str, address_id: RowId, least: Text
) -> Response:
    """Change which alarms an address takes."""
    addresses.change_address(
        tx,
        account=account,
        address_id=address_id,
        changes={"least": least},
        by=by_caller(shell.caller),
        now=shell.now,
    )
    return see(f"{_PAGE}#{account}")


@router.post("/notices/{account}/{address_id}/test")
def test(tx: TransactionDep, shell: ShellDep, account: str, address_id: RowId) -> Response:
    """Send a test the way that every notice goes."""
    address = addresses.address_at(
        tx, account=account, address_id=address_id, by=by_caller(shell.caller)
    )
    queue_test(tx, address=address, now=shell.now)
    return see(f"{_PAGE}#address-{address_id}")


@router.post("/notices/{account}/{address_id}/remove")
def remove(tx: TransactionDep, shell: ShellDep, account: str, address_id: RowId) -> Response:
    """Remove an address."""
    addresses.remove_address(
        tx,
        account=account,
        address_id=address_id,
        by=by_caller(shell.caller),
        now=shell.now,
    )
    return see(f"{_PAGE}#{account}")


def _page(
    tx: Tx, shell: Shell, *, account: str = "", faults: tuple[Fault, ...] = ()
) -> HTMLResponse:
    latest = rows.list_notices(tx, limit=_LATEST)
    formats = shell.everywhere(tx)
    return shell.answer(
        "notices.html",
        tx=tx,
        page="notices",
        formats=formats,
        people=person_views(tx, _people(tx, shell), formats=formats),
        latest=notice_views(tx, latest, formats=formats),
        choices=[(str(priority), LEAST_WORDS[priority]) for priority in Priority],
        usual=str(USUALLY_TOLD),
        kinds=[
            (channel.value, [(name, schemes[0]) for name, schemes in services.items()])
            for channel, services in SERVICES.items()
        ],
        faulty=account,
        faults=faults,
        sending=services(shell.request).sends_notices,
    )


def _people(tx: Tx, shell: Shell) -> list[Account]:
    """Return whose addresses the person may see: the own first."""
    own = (
        None
        if shell.caller.account_id is None
        else account_rows.account(tx, account_id=shell.caller.account_id)
    )
    first = [] if own is None else [own]
    if not may(shell.caller.role, Action.CHANGE_ACCOUNTS):
        return first
    others = account_rows.list_accounts(tx, limit=_MOST_PEOPLE)
    return first + [a for a in others if a.disabled_at is None and (own is None or a.id != own.id)]
