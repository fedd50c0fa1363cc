"""``/health``, ``/ready``, ``/metrics`` and ``/openapi.json``."""

from datetime import datetime
from functools import partial
from typing import Any, Final

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import PlainTextResponse
from pydantic import Field

import drumkeep
from drumkeep.asgi.dependencies import DatabaseDep, Now, require, services
from drumkeep.asgi.fields import Answer
from drumkeep.domain.roles import Action
from drumkeep.errors import Unavailable
from drumkeep.operations.jobs_health import jobs_health
from drumkeep.storage import room, schema

router = APIRouter(tags=["health"])
_READ = [Depends(require(Action.READ))]
_TEXT_FORMAT: Final = "text/plain; version=0.0.4"
"""Prometheus text exposition format."""


class HealthOut(Answer):
    """That the process answers, and which version it is."""

    status: str = "ok"
    version: str = drumkeep.__version__


class FailingJobOut(Answer):
    """A job that fails, and since when every run of it has."""

    job: str
    since: datetime


class ReadyOut(HealthOut):
    """That requests are served; and whether what runs by itself does.

    ``status`` is ``ok``, ``jobs failing`` or ``jobs not run``.
    """

    failing_jobs: list[FailingJobOut] = Field(default_factory=list)
    jobs_not_run_since: datetime | None = None


# Coroutines, not functions: those would wait for a thread while all are busy.
@router.get("/health")
async def health() -> HealthOut:
    """Tell that the process answers; it asks nobody else."""
    return HealthOut()


@router.get("/ready")
async def ready(database: DatabaseDep, now: Now) -> ReadyOut:
    """Tell whether requests can be served: the database answers, has our tables, and takes more.

    Jobs that fail, or that nobody runs, are told in the answer and do not make it another: to send
    requests elsewhere would mend nothing, and would keep people from what is known.
    """
    found = await database.read(schema.revision)
    if found != schema.newest():
        raise Unavailable("The database has other tables than this version needs.")
    if room.is_full(database.engine):
        raise Unavailable(room.WORDS)
    jobs = await database.read(partial(jobs_health, now=now))
    words = "jobs failing" if jobs.failing else "ok"
    return ReadyOut(
        status="jobs not run" if jobs.unattended_since else words,
        failing_jobs=[FailingJobOut(job=job, since=since) for job, since in jobs.failing],
        jobs_not_run_since=jobs.unattended_since,
    )


@router.get("/metrics", dependencies=_READ, response_class=PlainTextResponse)
async def metrics(request: Request) -> Response:
    """Tell figures of this process in the Prometheus text format."""
    return PlainTextResponse(services(request).meters.render(), media_type=_TEXT_FORMAT)


@router.get("/openapi.json", dependencies=_READ)
async def openapi(request: Request) -> dict[str, Any]:
    """Describe the API."""
    described: dict[str, Any] = request.app.openapi()
    return described
