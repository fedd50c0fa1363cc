"""Queries on how messages of other devices are read."""

from collections.abc import Sequence

from sqlmodel import col, select

from drumkeep.storage.tables.catalogue import Gateway, Site
from drumkeep.storage.tables.foreign import ForeignMapping
from drumkeep.storage.transaction import Tx


def list_mappings(tx: Tx) -> Sequence[ForeignMapping]:
    """Return every mapping by code."""
    return tx.session.exec(select(ForeignMapping).order_by(ForeignMapping.code)).all()


def mapping_by_code(tx: Tx, *, code: str) -> ForeignMapping | None:
    """Return the mapping of this code."""
    return tx.session.exec(select(ForeignMapping).where(ForeignMapping.code == code)).one_or_none()


def gateways_of(tx: Tx) -> dict[int, tuple[str, str]]:
    """Return the codes of site and gateway of every mapping, by the gateway's id."""
    found = tx.session.exec(
        select(Gateway.id, Site.code, Gateway.code)
        .join(Site, col(Site.id) == col(Gateway.site_id))
        .where(col(Gateway.id).in_(select(ForeignMapping.gateway_id)))
    )
    return {gateway_id: (site, code) for gateway_id, site, code in found.all()}


def delete(tx: Tx, *, row: ForeignMapping) -> None:
    """Let a mapping go."""
    tx.session.delete(row)
    tx.session.flush()
