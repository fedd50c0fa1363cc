"""From where a request comes, and whose deed it is."""

from datetime import datetime
from ipaddress import IPv6Address, ip_address
from typing import Final

from fastapi import Request

from drumkeep.asgi.authentication import Caller
from drumkeep.domain.audit import Doer, Way
from drumkeep.operations import sessions

_API: Final = "/api/"
_HOME_BITS: Final = 64
"""Of an IPv6 address: what follows is the customer's own to choose."""


def address_of(request: Request) -> str:
    """Return from where a request comes, as far as the proxies before us are trusted.

    The server has put in what a trusted proxy says of it (``DRUMKEEP_TRUSTED_PROXIES``).
    """
    return request.client.host if request.client else ""


def neighbourhood(address: str) -> str:
    """Return what counts as one place to guess passwords from: of IPv6 the whole /64."""
    try:
        parsed = ip_address(address)
    except ValueError:
        return address
    if isinstance(parsed, IPv6Address):
        mapped = parsed.ipv4_mapped
        if mapped is not None:
            return str(mapped)
        return parsed.exploded[: _HOME_BITS // 4 + 3]
    return address


def doer(
    request: Request,
    *,
    now: datetime,
    caller: Caller | None = None,
    name: str = "",
) -> Doer:
    """Say whose deed a request is; ``name`` of somebody who has not signed in."""
    session_id = None if caller is None else caller.session_id
    return Doer(
        at=now,
        deed=request.state.request_id,
        name=name if caller is None else caller.name,
        role="" if caller is None else caller.role.value,
        way=Way.API if request.url.path.startswith(_API) else Way.PAGE,
        account_id=None if caller is None else caller.account_id or caller.owner_id,
        token_id=None if caller is None else caller.token_id,
        session=None if session_id is None else sessions.handle(session_id),
        device=request.headers.get("user-agent", ""),
        address=address_of(request),
    )
