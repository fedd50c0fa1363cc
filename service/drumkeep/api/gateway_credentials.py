"""``/gateways/{site}/{code}/credential``: what a gateway signs in with at the broker."""

from fastapi import APIRouter, Depends, Request, Response

from drumkeep.api.schemas.gateway_credentials import CredentialOut
from drumkeep.asgi.broker import give_password, revoke_password
from drumkeep.asgi.dependencies import CurrentAccount, Now, require, services
from drumkeep.domain.roles import Action
from drumkeep.notify.broker_access import username

router = APIRouter(
    prefix="/gateways/{site}/{code}/credential",
    tags=["gateways"],
    dependencies=[Depends(require(Action.CHANGE_CATALOGUE))],
)


@router.post("", status_code=201)
async def make_credential(
    *,
    request: Request,
    response: Response,
    caller: CurrentAccount,
    now: Now,
    site: str,
    code: str,
) -> CredentialOut:
    """Give a gateway a password, in place of any it had."""
    password = await give_password(services(request), site=site, code=code, caller=caller, now=now)
    response.headers["Cache-Control"] = "no-store"
    return CredentialOut(username=username(site=site, gateway=code), password=password)


@router.delete("", status_code=204)
async def revoke_credential(request: Request, now: Now, site: str, code: str) -> None:
    """Take a gateway's password away; the broker ends its connection."""
    await revoke_password(services(request), site=site, code=code, now=now)
