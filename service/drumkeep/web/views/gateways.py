"""Gateways as the page shows them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from drumkeep.domain.gateway_clocks import clock_off, clock_words
from drumkeep.operations.devices import device_sayings
from drumkeep.storage import catalogue, credentials
from drumkeep.storage.tables.catalogue import Gateway
from drumkeep.storage.transaction import Tx
from drumkeep.web.formats import Formats
from drumkeep.web.views.devices import DeviceView, device_views
from drumkeep.web.views.sentences import said

_MOST: Final = 10_000


@dataclass(frozen=True, slots=True)
class GivenPassword:
    """A password just made."""

    username: str
    password: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GatewayView:
    """One gateway, with what it says of itself.

    ``made_at``, ``made_by`` and ``revoked_at`` are of its password; ``clock`` is what is wrong with
    its clock.
    """

    name: str
    urn: str
    online: bool
    last_seen_at: datetime | None
    made_at: datetime | None
    made_by: str | None
    revoked_at: datetime | None
    says: Sequence[DeviceView] = ()
    clock: str | None = None

    @property
    def has_password(self) -> bool:
        """Whether it can sign in at the broker."""
        return self.made_at is not None and self.revoked_at is None


def gateway_views(tx: Tx, *, formats: Formats, now: datetime) -> list[GatewayView]:
    """Return every gateway, by site and code."""
    rows = catalogue.list_gateways(tx, limit=_MOST)
    names = catalogue.gateway_references(tx, ids=[row.id for row in rows])
    kept = credentials.credentials_of(tx, gateway_ids=[row.id for row in rows])
    devices = device_views(tx, device_sayings(tx), now=now)
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
                clock=_clock(row, formats=formats, now=now),
            )
        )
    return sorted(views, key=lambda view: view.name)


def wrong_clocks(tx: Tx, *, formats: Formats, now: datetime) -> list[tuple[str, str]]:
    """Return the gateways whose clocks are wrong, each with what is to be done."""
    rows = catalogue.list_gateways(tx, limit=_MOST)
    names = catalogue.gateway_references(tx, ids=[row.id for row in rows])
    told = [(names[row.id], _clock(row, formats=formats, now=now)) for row in rows]
    return sorted((name, words) for name, words in told if words is not None)


def _clock(row: Gateway, *, formats: Formats, now: datetime) -> str | None:
    off = clock_off(
        ahead_s=row.clock_ahead_s, since=row.clock_off_since, at=row.clock_off_at, now=now
    )
    return None if off is None else said(clock_words(off), formats)
