"""What gateways sign in with at the broker: made here, shown once, kept as the broker's hash."""

import secrets
from collections import defaultdict
from datetime import datetime
from typing import Final

from drumkeep.domain.readings import GatewayKey
from drumkeep.errors import Conflict, Fault
from drumkeep.notify.broker_access import Holder, hashed
from drumkeep.operations.foreign_mappings import known_mappings
from drumkeep.operations.gateways import gateway_at
from drumkeep.operations.sparkplug_groups import known_groups
from drumkeep.storage import credentials
from drumkeep.storage.tables.credentials import GatewayCredential
from drumkeep.storage.transaction import Tx

_OCTETS: Final = 16
# Hexadecimal: never begins with a dash, which command lines would take for an option.


def make_credential(tx: Tx, *, site: str, code: str, by: str | None, now: datetime) -> str:
    """Give a gateway a password, in place of any it had; return it: nobody can be told again.

    Raises
    ------
    NotFound
        There is no such gateway.
    """
    gateway = gateway_at(tx, site=site, code=code)
    password = secrets.token_hex(_OCTETS)
    row = credentials.credential_of(tx, gateway_id=gateway.id)
    if row is None:
        credentials.add(
            tx,
            GatewayCredential(
                gateway_id=gateway.id, hash=hashed(password), made_at=now, made_by=by
            ),
        )
    else:
        row.hash, row.made_at, row.made_by, row.revoked_at = hashed(password), now, by, None
    return password


def revoke_credential(tx: Tx, *, site: str, code: str, now: datetime) -> None:
    """Take a gateway's password away.

    Raises
    ------
    NotFound
        There is no such gateway.
    Conflict
        It has none.
    """
    gateway = gateway_at(tx, site=site, code=code)
    row = credentials.credential_of(tx, gateway_id=gateway.id)
    if row is None or row.revoked_at is not None:
        raise Conflict(
            "Nothing was revoked.",
            [
                Fault(
                    "gateway",
                    f"{site}/{code}",
                    "has no password",
                    "Look at the list of gateways: it may be another one.",
                )
            ],
        )
    row.revoked_at = now


def holders(tx: Tx) -> list[Holder]:
    """Return who may sign in at the broker."""
    foreign: dict[GatewayKey, set[str]] = defaultdict(set)
    commands: dict[GatewayKey, set[str]] = defaultdict(set)
    for known in known_mappings(tx):
        foreign[known.gateway].add(known.map.topic)
    for group in known_groups(tx):
        foreign[group.gateway].update(group.messages)
        commands[group.gateway].update(group.commands)
    return [
        Holder(
            site,
            gateway,
            digest,
            foreign=tuple(sorted(foreign[GatewayKey(site, gateway)])),
            commands=tuple(sorted(commands[GatewayKey(site, gateway)])),
        )
        for site, gateway, digest in credentials.in_force(tx)
    ]
