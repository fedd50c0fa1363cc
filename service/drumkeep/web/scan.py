"""Scanning the label of a drum or of a place: it leads to the page about it."""

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import Response

from drumkeep.asgi.dependencies import ReadingDep
from drumkeep.domain import scans
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.places import place_named
from drumkeep.storage import drums as rows
from drumkeep.storage.transaction import Tx
from drumkeep.web.shell import ShellDep, see

router = APIRouter()

Code = Annotated[str, Query(max_length=scans.LONGEST)]


@router.get("/scan")
def scan_page(tx: ReadingDep, shell: ShellDep, code: Code = "") -> Response:
    """Ask for a label, and go where it leads: a drum's answer, or a place."""
    faults: tuple[Fault, ...] = ()
    if code.strip():
        try:
            return see(_about(tx, code))
        except Invalid as error:
            faults = tuple(error.faults)
    answer = shell.answer("scan.html", tx=tx, page="floor", code=code, faults=faults)
    answer.status_code = 422 if faults else 200
    return answer


def _about(tx: Tx, code: str) -> str:
    """Return the address of what a label belongs to."""
    scan = scans.read(code, field="code")
    if scan.place is not None:
        place_named(tx, reference=scan.place, field="code")
        return f"/places/{scan.place}"
    assert scan.tag is not None  # noqa: S101 - it is one of both
    if rows.drum_by_tag(tx, tag=scan.tag) is None:
        mend = "Look at its label again, or receive it."
        raise Invalid("No drum bears this tag.", [Fault("code", scan.tag, "is not known", mend)])
    return f"/d/{scan.tag}"
