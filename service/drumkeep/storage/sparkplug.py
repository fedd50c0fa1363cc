"""Queries on Sparkplug groups, their edge nodes, and what births said of metrics."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from sqlalchemy import and_, delete, func, or_
from sqlmodel import col, select

from drumkeep.storage.tables.catalogue import Gateway, Site
from drumkeep.storage.tables.sparkplug import SparkplugGroup, SparkplugMetric, SparkplugNode
from drumkeep.storage.transaction import Tx

_AT_ONCE: Final = 500
_SIGN: Final = 1 << 63


@dataclass(frozen=True, slots=True)
class GroupRow:
    """A group with its gateway."""

    row: SparkplugGroup
    site: str
    gateway: str
    urn: str


def list_groups(tx: Tx) -> list[GroupRow]:
    """Return every group that is read, by name and edge node."""
    found = tx.session.exec(
        select(SparkplugGroup, Site.code, Gateway.code, Gateway.urn)
        .join(Gateway, col(Gateway.id) == col(SparkplugGroup.gateway_id))
        .join(Site, col(Site.id) == col(Gateway.site_id))
        .order_by(SparkplugGroup.name, SparkplugGroup.node)
    )
    return [GroupRow(row, site, gateway, urn) for row, site, gateway, urn in found.all()]


def forget_group(tx: Tx, *, row: SparkplugGroup) -> None:
    """Let a group go, with what is known of its edge nodes."""
    nodes = select(SparkplugNode.id).where(SparkplugNode.group_id == row.id)
    tx.session.execute(delete(SparkplugMetric).where(col(SparkplugMetric.node_id).in_(nodes)))
    tx.session.execute(delete(SparkplugNode).where(col(SparkplugNode.group_id) == row.id))
    tx.session.delete(row)
    tx.session.flush()


def node_of(tx: Tx, *, group_id: int, name: str) -> SparkplugNode | None:
    """Return an edge node of a group."""
    return tx.session.exec(
        select(SparkplugNode).where(SparkplugNode.group_id == group_id, SparkplugNode.name == name)
    ).one_or_none()


def add_node(tx: Tx, *, row: SparkplugNode) -> SparkplugNode:
    """Store a new edge node and give it its id."""
    tx.session.add(row)
    tx.session.flush()
    return row


def count_nodes(tx: Tx, *, group_id: int) -> int:
    """Count a group's edge nodes."""
    return tx.session.exec(
        select(func.count()).select_from(SparkplugNode).where(SparkplugNode.group_id == group_id)
    ).one()


def nodes_of(tx: Tx, *, group_ids: Collection[int]) -> Sequence[SparkplugNode]:
    """Return the edge nodes of groups, by name."""
    wanted = col(SparkplugNode.group_id).in_(group_ids)
    return tx.session.exec(select(SparkplugNode).where(wanted).order_by(SparkplugNode.name)).all()


def metrics_of(
    tx: Tx, *, node_id: int, aliases: Sequence[int], device: str, names: Sequence[str]
) -> list[SparkplugMetric]:
    """Return what births said of an edge node's metrics of these aliases or, of a device, names."""
    metric = SparkplugMetric
    found: list[SparkplugMetric] = []
    for i in range(0, max(len(aliases), len(names)), _AT_ONCE):
        wanted = or_(
            col(metric.alias).in_([_signed(alias) for alias in aliases[i : i + _AT_ONCE]]),
            and_(col(metric.device) == device, col(metric.name).in_(names[i : i + _AT_ONCE])),
        )
        found += tx.session.exec(select(metric).where(metric.node_id == node_id, wanted)).all()
    return found


def count_metrics(tx: Tx, *, node_id: int) -> int:
    """Count the metrics of an edge node's births."""
    metric = SparkplugMetric
    return tx.session.exec(
        select(func.count()).select_from(metric).where(metric.node_id == node_id)
    ).one()


def forget_births(tx: Tx, *, node_id: int, device: str | None) -> None:
    """Let go what births said: of a device, or of the edge node with all its devices."""
    statement = delete(SparkplugMetric).where(col(SparkplugMetric.node_id) == node_id)
    if device is not None:
        statement = statement.where(col(SparkplugMetric.device) == device)
    tx.session.execute(statement)


def keep_births(tx: Tx, *, rows: Iterable[SparkplugMetric]) -> None:
    """Keep what a birth said."""
    tx.session.add_all(rows)
    tx.session.flush()


def stored_alias(alias: int | None) -> int | None:
    """Return an alias as it is stored: with a sign, as databases have no other."""
    return None if alias is None else _signed(alias)


def wire_alias(stored: int | None) -> int | None:
    """Return a stored alias as it was on the wire."""
    return None if stored is None else stored % (2 * _SIGN)


def _signed(alias: int) -> int:
    return alias - 2 * _SIGN if alias >= _SIGN else alias
