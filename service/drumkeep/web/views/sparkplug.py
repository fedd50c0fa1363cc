"""Sparkplug groups as the page shows them, and its form's fields."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from drumkeep.errors import Fault, Invalid
from drumkeep.operations.sparkplug_groups import known_groups
from drumkeep.storage import sparkplug
from drumkeep.storage.transaction import Tx

_LABELS: Final = {
    "group": "Group",
    "node": "Edge node",
    "gateway": "Is gateway",
    "units": "Units of metrics that say none",
    "sample": "Sample: its payload",
}


@dataclass(frozen=True, slots=True)
class NodeView:
    """An edge node that was heard."""

    name: str
    alive: bool
    asked_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupView:
    """A group that is read; ``node`` is empty for all its edge nodes."""

    id: int
    group: str
    node: str
    gateway: str
    units: tuple[tuple[str, str], ...]
    asks: bool
    nodes: tuple[NodeView, ...]


def group_views(tx: Tx) -> list[GroupView]:
    """Return every group that is read, by name and edge node."""
    groups = known_groups(tx)
    nodes = sparkplug.nodes_of(tx, group_ids=[group.id for group in groups])
    return [
        GroupView(
            id=group.id,
            group=group.group,
            node=group.node,
            gateway=f"{group.gateway.site}/{group.gateway.code}",
            units=group.reads.units,
            asks=group.asks,
            nodes=tuple(
                NodeView(node.name, node.alive, node.asked_at)
                for node in nodes
                if node.group_id == group.id
            ),
        )
        for group in groups
    ]


def units_of(text: str) -> list[tuple[str, str]]:
    """Read lines such as ``*temperature* = F``.

    Raises
    ------
    Invalid
        A line has no equals sign.
    """
    units = []
    for line in filter(None, map(str.strip, text.splitlines())):
        pattern, sign, unit = line.rpartition("=")
        if not sign:
            raise Invalid(
                "The units cannot be read.",
                [Fault("units", line, "has no unit", "Write such as *temperature* = F.")],
            )
        units.append((pattern.strip(), unit.strip()))
    return units


def labelled(faults: Iterable[Fault]) -> tuple[Fault, ...]:
    """Name a form's fields as the page does."""
    return tuple(replace(one, field=_LABELS.get(one.field, one.field)) for one in faults)
