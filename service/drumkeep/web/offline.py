"""What lets a phone go on without a connection: worker, manifest, and the list of what waits."""

from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import FileResponse, HTMLResponse, JSONResponse

from drumkeep.asgi.dependencies import DatabaseDep, Now, current_account
from drumkeep.errors import DrumkeepError
from drumkeep.language.tongue import tongue
from drumkeep.web.form_faults import LABELS
from drumkeep.web.language import language_of
from drumkeep.web.shell import answer_anybody
from drumkeep.web.templating import STATIC, static_address
from drumkeep.web.views.rig_checks import FINDINGS, PARTS
from drumkeep.web.wording import ACTION

router = APIRouter()

_PAPER: Final = "#fbfcf9"
_INK: Final = "#171a19"
_CHOICES: Final = {
    "none": "none",
    "seen": "seen",
    "red": "red: iso",
    "double": "open double: resin",
    "gross": "drum and liquid",
    "net": "liquid alone",
}
"""What a choice in a form of a drum's page is called there."""


async def _readers_language(request: Request, database: DatabaseDep, now: Now) -> str:
    """Return the language of whoever is signed in; nobody needs to be."""
    try:
        caller = await current_account(request, database, now)
    except DrumkeepError:
        return language_of(request)
    return language_of(request, caller)


LanguageDep = Annotated[str, Depends(_readers_language)]


@router.get("/worker.js")
async def worker() -> FileResponse:
    """Give the script that stands between pages and connection; looked for anew at each visit."""
    return FileResponse(
        STATIC / "js" / "worker.js",
        media_type="text/javascript",
        headers={"Cache-Control": "no-cache"},
    )


@router.get("/app.webmanifest")
async def manifest() -> JSONResponse:
    """Say how the pages stand on a phone's home screen."""
    icon = {"src": static_address("mark.svg"), "sizes": "any", "type": "image/svg+xml"}
    return JSONResponse(
        {
            "name": "drumkeep",
            "short_name": "drumkeep",
            "id": "/",
            "start_url": "/floor",
            "scope": "/",
            "display": "standalone",
            "background_color": _PAPER,
            "theme_color": _INK,
            "icons": [icon],
        },
        media_type="application/manifest+json",
    )


@router.get("/waiting")
async def waiting(request: Request, language: LanguageDep) -> HTMLResponse:
    """Show what waits on this device; the same for everybody, so that a phone can keep it."""
    say = tongue(language).say
    return answer_anybody(
        request,
        "waiting.html",
        language=language,
        titles={kind: say(title) for kind, (title, _) in ACTION.items()},
        fields={name: say(label).lower() for name, label in LABELS.items()},
        choices={value: say(words) for value, words in _CHOICES.items()},
        parts={part.value: say(title).lower() for part, (title, _) in PARTS.items()},
        findings={finding.value: say(words) for finding, words in FINDINGS.items()},
    )


@router.get("/no-connection")
async def no_connection(request: Request, language: LanguageDep) -> HTMLResponse:
    """Say that a page needs the service; kept by phones, to be shown in its place."""
    return answer_anybody(request, "no_connection.html", language=language, hookup=False)


@router.get("/no-connection/hookup")
async def not_checked(request: Request, language: LanguageDep) -> HTMLResponse:
    """Say that two drums were not checked; kept by phones, to be shown in the answer's place."""
    return answer_anybody(request, "no_connection.html", language=language, hookup=True)
