"""Note which gateways are there."""

import logging
from datetime import datetime

from drumkeep.domain.readings import GatewayKey
from drumkeep.storage import arrivals
from drumkeep.storage.transaction import Tx

_log = logging.getLogger(__name__)


def note_presence(
    tx: Tx, *, gateway: GatewayKey, online: bool, since: datetime, now: datetime
) -> bool:
    """Note that a gateway is there, or no longer.

    Parameters
    ----------
    since
        Since when, as the gateway says.
    now
        When it was heard.

    Returns
    -------
    bool
        False when the gateway is not registered; nothing is noted then.
    """
    known = arrivals.note_presence(
        tx, site=gateway.site, gateway=gateway.code, online=online, since=since, now=now
    )
    if not known:
        _log.info("A gateway that is not registered said it was there: %s", gateway)
    return known
