"""What one prefers: units."""

from typing import Annotated, Literal

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from drumkeep.asgi import sign_in as access
from drumkeep.web.shell import ShellDep, safe_next, see

router = APIRouter()


@router.post("/me/units")
async def change_units(
    request: Request,
    shell: ShellDep,
    units: Annotated[Literal["us", "si"], Form()],
    next: Annotated[str, Form(max_length=400)] = "/floor",  # noqa: A002
) -> Response:
    """Show pages in °F and lb, or °C and kg, from now on."""
    await access.change_own_account(
        request, caller=shell.caller, changes={"units": units}, now=shell.now
    )
    return see(safe_next(next))
