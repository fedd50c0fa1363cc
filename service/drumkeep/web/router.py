"""The pages."""

from importlib.util import find_spec
from pathlib import Path

from fastapi import APIRouter
from fastapi.responses import RedirectResponse
from starlette.staticfiles import StaticFiles

from drumkeep.web import (
    alarms,
    audit,
    chart,
    claims,
    company,
    consumables,
    counts,
    drums,
    exports,
    floor,
    gateways,
    hookup,
    imports,
    labels,
    live,
    mappings,
    me,
    methods,
    moves,
    notices,
    offline,
    people,
    photos,
    places,
    products,
    pulls,
    qr,
    readings_import,
    receive,
    refused,
    rig_checks,
    scan,
    sensors,
    sign_in,
    sparkplug,
    stock,
    strays,
    tokens,
    trace,
    verdict,
    why,
)
from drumkeep.web.templating import STATIC, static_address

PAGES = (
    sign_in,
    floor,
    drums,
    why,
    chart,
    qr,
    verdict,
    pulls,
    hookup,
    scan,
    alarms,
    sensors,
    strays,
    gateways,
    readings_import,
    imports,
    exports,
    mappings,
    sparkplug,
    refused,
    places,
    products,
    labels,
    moves,
    receive,
    photos,
    claims,
    trace,
    stock,
    counts,
    consumables,
    rig_checks,
    methods,
    me,
    company,
    people,
    tokens,
    audit,
    notices,
    live,
    offline,
)


class Lasting(StaticFiles):
    """Static files that browsers may keep: ours carry a digest, BokehJS its release."""

    def file_response(self, *args: object, **kwargs: object):  # type: ignore[no-untyped-def]  # noqa: ANN201
        """Answer a file, to be kept for a day."""
        response = super().file_response(*args, **kwargs)  # type: ignore[arg-type]
        response.headers["Cache-Control"] = "private, max-age=86400"
        return response


def install(root: APIRouter) -> None:
    """Add every page and what pages load."""
    router = APIRouter(include_in_schema=False)
    for page in PAGES:
        router.include_router(page.router)
    router.add_api_route("/favicon.ico", _favicon)
    root.include_router(router)
    root.mount("/static", Lasting(directory=STATIC), name="static")
    root.mount("/bokeh", Lasting(directory=_bokeh_js()), name="bokeh")


async def _favicon() -> RedirectResponse:
    """Lead browsers on that look for the mark beside what is no page of ours."""
    return RedirectResponse(static_address("mark.svg"))


def _bokeh_js() -> Path:
    """Return where BokehJS is, without importing Bokeh: that takes half a second."""
    spec = find_spec("bokeh")
    if spec is None or spec.origin is None:
        raise RuntimeError("bokeh is not installed; install drumkeep with its service extra")
    return Path(spec.origin).parent / "server" / "static"
