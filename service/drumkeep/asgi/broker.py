"""Gateways' passwords in a request: stored first, then told to the broker."""

import logging
from datetime import datetime
from typing import Final

from fastapi.concurrency import run_in_threadpool

from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import Services
from drumkeep.errors import Unavailable
from drumkeep.notify.broker_access import Holder
from drumkeep.notify.broker_files import BrokerFiles
from drumkeep.operations import gateway_credentials
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import Tx, reading

_LOG: Final = logging.getLogger(__name__)


async def give_password(
    found: Services, *, site: str, code: str, caller: Caller, now: datetime
) -> str:
    """Give a gateway a password, which holds at the broker when this returns it.

    Raises
    ------
    Unavailable
        The broker's files are not set or cannot be written.
    NotFound
        There is no such gateway.
    """
    files = _files(found)
    password = await found.database.write(
        lambda tx: gateway_credentials.make_credential(
            tx, site=site, code=code, by=caller.name, now=now
        )
    )
    await run_in_threadpool(bring_up_to_date, files, found.database.engine)
    return password


async def revoke_password(found: Services, *, site: str, code: str, now: datetime) -> None:
    """Take a gateway's password away; the broker ends its connection.

    Raises
    ------
    Unavailable
        The broker's files are not set or cannot be written.
    NotFound, Conflict
        There is no such gateway, or it has no password.
    """
    files = _files(found)
    await found.database.write(
        lambda tx: gateway_credentials.revoke_credential(tx, site=site, code=code, now=now)
    )
    await run_in_threadpool(bring_up_to_date, files, found.database.engine)


def bring_up_to_date(files: BrokerFiles, engine: Engine) -> bool:
    """Write the broker's files as the database says; return whether anything differed."""

    def read() -> list[Holder]:
        with reading(engine) as tx:
            return gateway_credentials.holders(tx)

    return files.update(read)


def catch_up(files: BrokerFiles, engine: Engine) -> None:
    """Do the same where nobody waits for it; trouble is logged."""
    try:
        bring_up_to_date(files, engine)
    except Unavailable as error:
        _LOG.warning("%s", error)


def tell_once_stored(tx: Tx, found: Services) -> None:
    """Have the broker's files written when what this transaction changes is stored."""
    files = found.broker_files
    if files is not None:
        tx.after_commit(lambda: catch_up(files, found.database.engine))


def _files(found: Services) -> BrokerFiles:
    if found.broker_files is None:
        raise Unavailable(
            "Gateways are given no passwords here: the service does not know where the broker's "
            "files are. Set DRUMKEEP_BROKER_FOLDER as deploy/mosquitto/README.md says."
        )
    return found.broker_files
