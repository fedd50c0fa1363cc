"""The composition root: the only place that wires the parts together."""

import asyncio
import logging
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from enum import StrEnum
from functools import cache
from typing import Final, Protocol

import anyio.to_thread
from fastapi import APIRouter, Depends, FastAPI
from starlette.routing import BaseRoute

import drumkeep
from drumkeep.api.router import make_router
from drumkeep.asgi import problems
from drumkeep.asgi.authentication import Seals
from drumkeep.asgi.broker import catch_up
from drumkeep.asgi.database import Database
from drumkeep.asgi.dependencies import Provider, Services
from drumkeep.asgi.middleware import Envelope
from drumkeep.asgi.own_writes import OwnWrites
from drumkeep.asgi.soundness import refuse_unsound
from drumkeep.domain.company_sign_in import Admission
from drumkeep.domain.roles import Role as AccountRole
from drumkeep.errors import Fault, Invalid
from drumkeep.ingest.address import broker_at
from drumkeep.ingest.intake import Intake
from drumkeep.notify.alarm_topics import AlarmTopics
from drumkeep.notify.broker_files import BrokerFiles
from drumkeep.scheduler.jobs import JOBS, advancing, announcing, thinning
from drumkeep.scheduler.notices import FORGETTING, NoticePost
from drumkeep.scheduler.runner import Runner
from drumkeep.settings import Settings
from drumkeep.storage import engine as engines
from drumkeep.storage.engine import Engine
from drumkeep.storage.replica import Replica
from drumkeep.web import router as pages
from drumkeep.web.company import BACK
from drumkeep.web.problem_pages import problem_page

POOL: Final = 24
"""Connections to the database."""

_THREADS: Final = 20
_READERS: Final = 12
_WRITERS: Final = 4
# Readers, writers, the scheduler and ingest together stay below the pool, so that a thread never
# waits for a connection while the request that holds one waits for a thread.

_LOG: Final = logging.getLogger(__name__)


class Role(StrEnum):
    """What a process does; all of it unless told otherwise."""

    WEB = "web"
    INGEST = "ingest"
    SCHEDULE = "schedule"


class Part(Protocol):
    """Something that runs beside the requests, in threads of its own."""

    def start(self) -> None:
        """Begin; raise if that is not possible."""

    def stop(self) -> None:
        """Finish what is begun, then end."""

    def gauges(self) -> Mapping[str, Callable[[], float]]:
        """Return figures for operations by name, each read when asked for."""


def make_engine(settings: Settings) -> Engine:
    """Make the engine of the database that the settings name."""
    return engines.create(settings.database, pool_size=POOL + settings.ingest_slots)


def make_replica(settings: Settings, engine: Engine) -> Replica | None:
    """Make what knows the replica that the settings name; None if they name none.

    Raises
    ------
    Invalid
        Its address cannot be used, or the database is none that could have a replica.
    """
    if settings.replica_url is None:
        return None
    url = settings.replica_url.get_secret_value()
    if engine.dialect.name == "sqlite" or not url.startswith("postgresql"):
        raise Invalid(
            "There is no replica to read from.",
            [
                Fault(
                    "DRUMKEEP_REPLICA_URL",
                    None,
                    "is of use with PostgreSQL only",
                    "Unset it, or set DRUMKEEP_DATABASE_URL to the PostgreSQL that it follows.",
                )
            ],
        )
    return Replica(engines.create(url, pool_size=_READERS + 1), primary=engine)


def make_parts(settings: Settings, engine: Engine, *, roles: frozenset[Role]) -> list[Part]:
    """Make what runs beside the requests, for the roles of this process.

    Raises
    ------
    Invalid
        The broker's address cannot be used, or several sessions at it are wanted on SQLite.
    """
    parts: list[Part] = []
    broker = None
    if settings.mqtt_url is not None:
        broker = broker_at(
            settings.mqtt_url.get_secret_value(),
            root=settings.mqtt_root,
            ca_file=settings.mqtt_ca_file,
        )
    elif Role.INGEST in roles:
        _LOG.warning("no broker is set (DRUMKEEP_MQTT_URL): readings come over HTTP only")
    if Role.INGEST in roles and broker is not None:
        _refuse_sessions_on_sqlite(settings, engine)
        parts.append(
            Intake(engine=engine, broker=broker, clock=_clock, slots=settings.ingest_slots)
        )
    if Role.SCHEDULE in roles:
        jobs = [advancing(), *JOBS]
        if settings.raw_days is not None:
            jobs.append(thinning(settings.raw_days))
        if broker is not None:
            topics = AlarmTopics(
                host=broker.host,
                port=broker.port,
                root=settings.mqtt_root,
                username=broker.username,
                password=broker.password,
                tls=broker.tls,
            )
            parts.append(topics)
            jobs.append(announcing(topics))
        post = NoticePost(engine, link_base=settings.public_url, sending=settings.notices == "on")
        jobs += [post.job, FORGETTING]
        # the last to begin is the first to end: what is being sent is recorded before
        parts += [Runner(engine, jobs=jobs), post]
    return parts


def _refuse_sessions_on_sqlite(settings: Settings, engine: Engine) -> None:
    if settings.ingest_slots > 1 and engine.dialect.name == "sqlite":
        raise Invalid(
            "The messages cannot be shared out.",
            [
                Fault(
                    "DRUMKEEP_INGEST_SLOTS",
                    settings.ingest_slots,
                    "needs PostgreSQL",
                    "Unset it, or set DRUMKEEP_DATABASE_URL to a PostgreSQL database.",
                )
            ],
        )


def make_broker_files(settings: Settings) -> BrokerFiles | None:
    """Return where the broker's files of passwords and rights are, if that is set."""
    if settings.broker_folder is None:
        return None
    return BrokerFiles(settings.broker_folder, settings.mqtt_root, settings.broker_pid_file)


def make_provider(settings: Settings) -> Provider | None:
    """Return where people sign in with their company's account, if that is set.

    Raises
    ------
    Invalid
        What it needs besides is not set.
    Unavailable
        The client's secret cannot be read.
    """
    if settings.oidc_issuer is None:
        return None
    if settings.oidc_client_id is None or settings.public_url is None:
        name = "PUBLIC_URL" if settings.oidc_client_id else "OIDC_CLIENT_ID"
        raise _unusable(
            f"DRUMKEEP_{name}",
            None,
            "is missing, and DRUMKEEP_OIDC_ISSUER needs it",
            "Set it, or unset DRUMKEEP_OIDC_ISSUER.",
        )
    # Its libraries are a tenth of the start-up, and few have such a provider.
    from drumkeep.asgi.openid import OpenIdProvider  # noqa: PLC0415

    return OpenIdProvider(
        issuer=settings.oidc_issuer,
        client_id=settings.oidc_client_id,
        client_secret=settings.oidc_secret(),
        redirect_uri=f"{settings.public_url}{BACK}",
        role_claim=settings.oidc_role_claim,
    )


def make_admission(settings: Settings) -> Admission:
    """Return whom that provider may send.

    Raises
    ------
    Invalid
        A role that its words are to mean is none of ours, or no claim has such words.
    """
    pairs = [one.rpartition("=") for one in settings.oidc_roles.split(",") if one.strip()]
    roles = {word.strip(): role.strip() for word, _, role in pairs}
    if not {*roles.values()} <= {*AccountRole} or "" in roles:
        raise _unusable(
            "DRUMKEEP_OIDC_ROLES",
            settings.oidc_roles,
            "names a role that is none",
            f"Write pairs like leads=manager; roles are {', '.join(AccountRole)}.",
        )
    if roles and settings.oidc_role_claim is None:
        raise _unusable(
            "DRUMKEEP_OIDC_ROLE_CLAIM",
            None,
            "is missing, and DRUMKEEP_OIDC_ROLES needs it",
            "Name the claim of the ID token that holds these words, such as groups.",
        )
    domains = [one.strip().lower() for one in settings.oidc_domains.split(",")]
    return Admission(
        domains=frozenset(one for one in domains if one),
        unknown=None if settings.oidc_unknown == "refuse" else AccountRole(settings.oidc_unknown),
        roles={word: AccountRole(role) for word, role in roles.items()},
    )


def _unusable(name: str, value: str | None, problem: str, mend: str) -> Invalid:
    return Invalid("The settings cannot be used.", [Fault(name, value, problem, mend)])


def _clock() -> datetime:
    return datetime.now(UTC)  # noqa: TID251 - the edge


def create_app(
    settings: Settings,
    *,
    engine: Engine,
    parts: Sequence[Part] = (),
    replica: Replica | None = None,
) -> FastAPI:
    """Make the app that serves API and pages.

    Parameters
    ----------
    settings
        What the operator set.
    engine
        Of a database that has the tables of this version.
    parts
        What runs beside the requests of this process, in the order in which it is started.
    replica
        Where pages may be read from; one of the parts.

    Returns
    -------
    FastAPI
        Its ``state.services`` are what requests share; ``state.closing`` are calls to be made on
        ``state.loop`` when the process is told to end, for streams that would never end else.
    """
    writers = 1 if engine.dialect.name == "sqlite" else _WRITERS
    services = Services(
        database=Database(engine, writers=writers, readers=_READERS, replica=replica),
        seals=Seals(settings.secret()),
        secure_cookies=settings.people_come_by_https,
        broker_files=make_broker_files(settings),
        mqtt_root=settings.mqtt_root,
        sends_notices=settings.notices == "on",
        currency=settings.currency,
        provider=make_provider(settings),
        admission=make_admission(settings),
    )

    for part in parts:
        for name, read in part.gauges().items():
            services.meters.gauge(name, read=read)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        app.state.loop = asyncio.get_running_loop()
        anyio.to_thread.current_default_thread_limiter().total_tokens = _THREADS
        started: list[Part] = []
        if services.broker_files is not None:
            await anyio.to_thread.run_sync(catch_up, services.broker_files, engine)
        try:
            for part in parts:
                await anyio.to_thread.run_sync(part.start)
                started.append(part)
            yield
        finally:
            for part in reversed(started):
                await anyio.to_thread.run_sync(part.stop)

    app = FastAPI(
        title="drumkeep",
        version=drumkeep.__version__,
        summary="How warm the liquid in every drum is, and what that makes the drum fit for.",
        lifespan=lifespan,
        # Their pages load scripts from elsewhere; /openapi.json asks for sign-in like the rest.
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    app.state.services = services
    app.state.public_url = settings.public_url
    closing: list[Callable[[], None]] = []
    app.state.closing = closing
    app.add_middleware(Envelope, meters=services.meters)
    if replica is not None:
        app.add_middleware(OwnWrites, secure=settings.people_come_by_https)
    problems.install(app, page=problem_page)
    app.router.routes += _routes()
    return app


@cache
def _routes() -> list[BaseRoute]:
    """Return the way to every page and noun of the API.

    They hold nothing of one app, and take a third of a second to make.
    """
    root = APIRouter(dependencies=[Depends(refuse_unsound)])
    root.include_router(make_router())
    pages.install(root)
    return root.routes
