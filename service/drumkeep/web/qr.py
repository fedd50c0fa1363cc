"""The QR code that leads from a drum to its verdict page."""

from typing import Annotated, Final

import segno
from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.operations import drums
from drumkeep.web.shell import ShellDep

router = APIRouter()

_SCALE: Final = 6


def public_address(request: Request) -> str:
    """Return how people reach the pages: as the operator set, else as this request did."""
    public: str | None = request.app.state.public_url
    return public or str(request.base_url).rstrip("/")


def drawn(text: str, *, title: str, sized: bool = True) -> str:
    """Return a QR code as SVG to stand in a page, of its own size or as large as its style says."""
    # micro=False: phones do not read Micro QR
    code = segno.make(text, error="m", micro=False)
    return code.svg_inline(scale=_SCALE, dark="#000", light="#fff", title=title, omitsize=not sized)


@router.get("/drums/{tag}/qr.svg")
def qr(
    tx: ReadingDep,
    _shell: ShellDep,
    tag: str,
    address: Annotated[str, Depends(public_address)],
) -> Response:
    """Draw the code: dark on white in either scheme, since readers expect that."""
    drum = drums.drum_tagged(tx, tag=tag)
    svg = drawn(f"{address}/d/{drum.tag}", title=f"To drum {drum.tag}")
    named = svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return Response(named, media_type="image/svg+xml")
