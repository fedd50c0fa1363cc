"""Gateways as the page shows them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from drumkeep.storage import catalogue, credentials
from drumkeep.storage.transaction import Tx
from drumkeep.web.views.devices import DeviceView, device_views

_MOST: Final = 10_000


@dataclass(frozen=True, slots=True)
class GivenPassword:
    """A password just made."""

    username: str
    password: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GatewayView:
    """One gateway, with what it says of itself.

    ``made_at``, ``made_by`` and ``revoked_at`` are of its password.
    """

    name: str
    urn: str
    online: bool
    last_seen_at: datetime | None
    made_at: datetime | None
    made_by: str | None
    revoked_at: datetime | None
    says: Sequence[DeviceView] = ()

    @property
    def has_password(self) -> bool:
        """Whether it can sign in at the broker."""
        return self.made_at is not None and self.revoked_at is None


def gateway_views(tx: Tx, *, now: datetime) -> list[GatewayView]:
    """Return every gateway, by site and code."""
    rows = catalogue.list_gateways(tx, limit=_MOST)
    names = catalogue.gateway_references(tx, ids=[row.id for row in rows])
    kept = credentials.credentials_of(tx, gateway_ids=[row.id for row in rows])
    devices = device_views(tx, now=now)
    views = []
    for row in rows:
        credential = kept.get(row.id)
        views.append(
            GatewayView(
                name=names[row.id],
                urn=row.urn,
                online=row.online,
                last_seen_at=row.last_seen_at,
                made_at=None if credential is None else credential.made_at,
                made_by=None if credential is None else credential.made_by,
                revoked_at=None if credential is None else credential.revoked_at,
                says=devices.of_gateway.get(row.id, ()),
            )
        )
    return sorted(views, key=lambda view: view.name)
