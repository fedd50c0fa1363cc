"""Who may sign in, as what, and from which devices; a phone signs in by a code shown once."""

from typing import Annotated, Final

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, Response

from drumkeep.asgi import sign_in as access
from drumkeep.asgi.dependencies import (
    Now,
    ReadingDep,
    TransactionDep,
    refuse_unless_may,
    services,
)
from drumkeep.domain.roles import Action
from drumkeep.errors import Conflict, DrumkeepError, Fault, Invalid
from drumkeep.operations import accounts, sessions
from drumkeep.storage.transaction import Tx
from drumkeep.web.qr import public_address
from drumkeep.web.shell import Shell, ShellDep, answer_anybody, go_on, see
from drumkeep.web.views.people import PhoneCode, person_lines, phone_code

router = APIRouter()

_PAGE: Final = "/people"
_NOTHING_TYPED: Final = {"name": "", "display_name": "", "role": "crew", "language": ""}
Text = Annotated[str, Form(max_length=400)]


@router.get("/people")
def people_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """List who may sign in."""
    return _page(tx, shell)


@router.post("/people")
def add(
    *,
    tx: TransactionDep,
    shell: ShellDep,
    name: Text = "",
    display_name: Text = "",
    role: Text = "",
    language: Text = "",
    password: Text = "",
) -> Response:
    """Let somebody in."""
    refuse_unless_may(shell.caller, Action.CHANGE_ACCOUNTS)
    try:
        account = accounts.create_account(
            tx,
            name=name.strip().lower(),
            display_name=display_name.strip(),
            role=role,
            language=language,
            password=password or None,
            temporary=True,
            now=shell.now,
        )
    except (Invalid, Conflict) as error:
        typed = {"name": name, "display_name": display_name, "role": role, "language": language}
        return _page(tx, shell, faults=error.faults, typed=typed, status=error)
    return see(f"{_PAGE}#{account.name}")


@router.post("/people/{name}/phone")
def show_code(
    tx: TransactionDep,
    shell: ShellDep,
    name: str,
    address: Annotated[str, Depends(public_address)],
) -> HTMLResponse:
    """Show the code that signs one phone in as this person; this answer alone shows it."""
    refuse_unless_may(shell.caller, Action.CHANGE_ACCOUNTS)
    account = accounts.account_named(tx, name=name)
    made, secret = sessions.make_pass(
        tx, account=account, made_by=shell.caller.account_id, now=shell.now
    )
    code = phone_code(account, made=made, secret=secret, address=address, formats=shell.formats)
    return _page(tx, shell, code=code)


@router.post("/people/{name}/change")
def change(
    *,
    tx: TransactionDep,
    shell: ShellDep,
    name: str,
    role: Text = "",
    language: Text | None = None,
    password: Text = "",
    disabled: Text = "",
) -> Response:
    """Give a person another role, language or password, shut the account, or open it again."""
    refuse_unless_may(shell.caller, Action.CHANGE_ACCOUNTS)
    account = accounts.account_named(tx, name=name)
    changes: accounts.AccountChanges = {}
    if role:
        changes["role"] = role
    if language is not None:
        changes["language"] = language
    if password:
        changes["password"] = password
        changes["temporary"] = account.id != shell.caller.account_id
    if disabled:
        changes["disabled"] = disabled == "yes"
    try:
        accounts.change_account(tx, account_id=account.id, changes=changes, now=shell.now)
    except (Invalid, Conflict) as error:
        return _page(tx, shell, faults=error.faults, faulty=name, status=error)
    return see(f"{_PAGE}#{account.name}")


@router.post("/people/{name}/devices/{handle}/end")
def end_device(tx: TransactionDep, shell: ShellDep, name: str, handle: str) -> Response:
    """Sign a device out: one's own, or for a manager anybody's."""
    own = name == shell.caller.name and shell.caller.account_id is not None
    if not own:
        refuse_unless_may(shell.caller, Action.CHANGE_ACCOUNTS)
    account = accounts.account_named(tx, name=name)
    sessions.end_named(tx, account=account, handle=handle, now=shell.now)
    return see("/me" if own else f"{_PAGE}#{account.name}")


@router.get("/sign-in/once/{secret}")
async def ask_phone(request: Request, secret: str, now: Now) -> HTMLResponse:
    """Ask whether to sign this phone in: merely looking at the address must not use it up."""
    database = services(request).database
    account = await database.read(lambda tx: sessions.holder_of(tx, secret=secret, now=now))
    return answer_anybody(
        request,
        "phone.html",
        language=account.language,
        csrf="",
        person=account.display_name,
        secret=secret,
    )


@router.post("/sign-in/once/{secret}")
async def sign_phone_in(request: Request, secret: str, now: Now) -> Response:
    """Sign this phone in, once."""
    signed_in = await access.sign_in_by_pass(request, secret=secret, now=now)
    return go_on(signed_in, "/floor")


def _page(
    tx: Tx,
    shell: Shell,
    *,
    code: PhoneCode | None = None,
    faults: tuple[Fault, ...] = (),
    faulty: str = "",
    typed: dict[str, str] | None = None,
    status: DrumkeepError | None = None,
) -> HTMLResponse:
    refuse_unless_may(shell.caller, Action.CHANGE_ACCOUNTS)
    answer = shell.answer(
        "people.html",
        tx=tx,
        page="people",
        people=person_lines(tx, caller=shell.caller, now=shell.now),
        code=code,
        faults=faults,
        faulty=faulty,
        typed=typed or _NOTHING_TYPED,
    )
    if isinstance(status, Conflict):
        answer.status_code = 409
    elif status is not None:
        answer.status_code = 422
    return answer
