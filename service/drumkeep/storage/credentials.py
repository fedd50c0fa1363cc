"""Queries on what gateways sign in with at the broker."""

from collections.abc import Sequence

from sqlmodel import col, select

from drumkeep.storage.tables.catalogue import Gateway, Site
from drumkeep.storage.tables.credentials import GatewayCredential
from drumkeep.storage.transaction import Tx


def credential_of(tx: Tx, *, gateway_id: int) -> GatewayCredential | None:
    """Return a gateway's credential, in force or revoked."""
    return tx.session.get(GatewayCredential, gateway_id)


def credentials_of(tx: Tx, *, gateway_ids: Sequence[int]) -> dict[int, GatewayCredential]:
    """Return the credentials of gateways by gateway id."""
    wanted = col(GatewayCredential.gateway_id).in_(gateway_ids)
    rows = tx.session.exec(select(GatewayCredential).where(wanted)).all()
    return {row.gateway_id: row for row in rows}


def in_force(tx: Tx) -> list[tuple[str, str, str]]:
    """Return site, gateway and hash of every credential in force, by site and gateway."""
    found = tx.session.exec(
        select(Site.code, Gateway.code, GatewayCredential.hash)
        .join(Gateway, col(Gateway.id) == col(GatewayCredential.gateway_id))
        .join(Site, col(Site.id) == col(Gateway.site_id))
        .where(col(GatewayCredential.revoked_at).is_(None))
        .order_by(Site.code, Gateway.code)
    )
    return [(site, gateway, digest) for site, gateway, digest in found.all()]


def add(tx: Tx, row: GatewayCredential) -> None:
    """Store a gateway's first credential."""
    tx.session.add(row)
    tx.session.flush()
