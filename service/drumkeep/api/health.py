"""``/health``, ``/ready``, ``/metrics`` and ``/openapi.json``."""

from typing import Any, Final

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import PlainTextResponse

import drumkeep
from drumkeep.asgi.dependencies import DatabaseDep, require, services
from drumkeep.asgi.fields import Answer
from drumkeep.domain.roles import Action
from drumkeep.errors import Unavailable
from drumkeep.storage import room, schema

router = APIRouter(tags=["health"])
_READ = [Depends(require(Action.READ))]
_TEXT_FORMAT: Final = "text/plain; version=0.0.4"
"""Prometheus text exposition format."""


class HealthOut(Answer):
    """That the process answers, and which version it is."""

    status: str = "ok"
    version: str = drumkeep.__version__


# Coroutines, not functions: those would wait for a thread while all are busy.
@router.get("/health")
async def health() -> HealthOut:
    """Tell that the process answers; it asks nobody else."""
    return HealthOut()


@router.get("/ready")
async def ready(database: DatabaseDep) -> HealthOut:
    """Tell whether requests can be served: the database answers, has our tables, and takes more."""
    found = await database.read(schema.revision)
    if found != schema.newest():
        raise Unavailable("The database has other tables than this version needs.")
    if room.is_full(database.engine):
        raise Unavailable(room.WORDS)
    return HealthOut()


@router.get("/metrics", dependencies=_READ, response_class=PlainTextResponse)
async def metrics(request: Request) -> Response:
    """Tell figures of this process in the Prometheus text format."""
    return PlainTextResponse(services(request).meters.render(), media_type=_TEXT_FORMAT)


@router.get("/openapi.json", dependencies=_READ)
async def openapi(request: Request) -> dict[str, Any]:
    """Describe the API."""
    described: dict[str, Any] = request.app.openapi()
    return described
