"""Bring in a logger's download: choose it, see what it would become, then store it.

The page keeps the file in the form itself, compressed, so that nothing waits on the service for a
person who does not come back.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import UploadFile

from drumkeep.asgi.dependencies import ReadingDep, refuse_unless_may, services
from drumkeep.asgi.imports import bring_in
from drumkeep.asgi.middleware import MAX_UPLOAD
from drumkeep.domain.logger_columns import FOR_ALL
from drumkeep.domain.logger_tables import TITLE
from drumkeep.domain.roles import Action
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.readings_import import ImportAsked, ImportReport
from drumkeep.storage import catalogue
from drumkeep.storage.transaction import Tx
from drumkeep.web.kept_file import kept_texts, sent_file
from drumkeep.web.shell import Shell, ShellDep
from drumkeep.web.views.readings_import import UNITS, column_views, sensor_choices, share_views

router = APIRouter()

_STORE: Final = "store"
_UNUSABLE: Final = 422
_LABELS: Final = {
    "file": "The file",
    "sensor": "Sensor",
    "unit": "Unit",
    "time": "Column of the time",
    "day_first": "Dates",
    "zone": "Zone",
    "site": "Site",
}
_MENDS: Final = {
    "sensor": "Choose below of which sensor a column is.",
    "unit": "Choose below in which unit it is.",
    "time": "Choose the column of the time below.",
    "day_first": "Choose below which of the two comes first.",
}
"""What to do on this page, where the command and the API say it in another way."""


@dataclass(frozen=True, slots=True)
class _Given:
    """The form as it was sent, and what became of it."""

    fields: Mapping[str, str] = field(default_factory=dict)
    content: bytes = b""
    faults: Sequence[Fault] = ()
    report: ImportReport | None = None
    stored: bool = False


@router.get("/sensors/import")
def import_page(tx: ReadingDep, shell: ShellDep) -> HTMLResponse:
    """Ask for a file."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    return _page(tx, shell, _Given())


@router.post("/sensors/import")
async def check_or_store(request: Request, shell: ShellDep) -> Response:
    """Say what would become of the file; with the other button store it."""
    refuse_unless_may(shell.caller, Action.CHANGE_CATALOGUE)
    database = services(request).database
    async with request.form() as form:
        fields = {name: value for name, value in form.items() if isinstance(value, str)}
        content = await sent_file(form, most=MAX_UPLOAD)
        file = form.get("file")
        if isinstance(file, UploadFile) and file.filename:
            fields["name"] = file.filename
    store = fields.get("do") == _STORE
    try:
        if not content:
            raise _no_file()
        report = await bring_in(
            database, content=content, asked=_asked(fields), check=not store, now=shell.now
        )
        given = _Given(fields, content, report=report, stored=store)
    except Invalid as error:
        given = _Given(fields, content, faults=error.faults)
    answer = await database.read(lambda tx: _page(tx, shell, given))
    # That nobody has said yet what the columns are is how it begins, and no error.
    begins = all(fault.field == "sensor" and fault.value is None for fault in given.faults)
    answer.status_code = 200 if begins else _UNUSABLE
    return answer


def _no_file() -> Invalid:
    mend = "Choose the CSV file that the logger's program wrote."
    return Invalid(TITLE, [Fault("file", None, "is missing", mend)])


def _asked(fields: Mapping[str, str]) -> ImportAsked:
    def of_columns(what: str) -> dict[str, str]:
        begins = f"{what}-"
        return {
            name.removeprefix(begins): value
            for name, value in fields.items()
            if name.startswith(begins) and value
        }

    said = fields.get("unit", "")
    return ImportAsked(
        name=fields.get("name", "") or "upload",
        site=fields.get("site") or None,
        zone=fields.get("zone", "").strip() or None,
        day_first={"day": True, "month": False}.get(fields.get("order", "")),
        time=fields.get("time") or None,
        sensors=of_columns("sensor"),
        units=of_columns("unit") | ({FOR_ALL: said} if said else {}),
    )


def _page(tx: Tx, shell: Shell, given: _Given) -> HTMLResponse:
    sites = catalogue.list_sites(tx)
    formats = shell.formats
    chosen = [site for site in sites if site.code == given.fields.get("site")] or sites
    if len(chosen) == 1:
        formats = formats.at(chosen[0].timezone)
    return shell.answer(
        "readings_import.html",
        tx=tx,
        page="sensors",
        formats=formats,
        given=given.fields,
        faults=[
            (_LABELS.get(fault.field, fault.field), fault, _MENDS.get(fault.field, fault.mend))
            for fault in given.faults
        ],
        kept=kept_texts(given.content),
        columns=column_views(given.content, given=given.fields) if given.content else (),
        choices=sensor_choices(tx) if given.content else (),
        units=UNITS,
        sites=[(site.code, f"{site.name} ({site.timezone})") for site in sites],
        report=given.report,
        shares=() if given.report is None else share_views(given.report, formats=formats),
        stored=given.stored,
    )
