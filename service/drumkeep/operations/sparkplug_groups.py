"""Which Sparkplug groups are read, and on whose account: made, listed, let go."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from drumkeep.domain.checks import Checks
from drumkeep.domain.readings import GatewayKey
from drumkeep.domain.unit_words import unit_meant
from drumkeep.errors import Conflict, Fault, NotFound
from drumkeep.operations.gateways import gateway_named
from drumkeep.operations.sparkplug_metrics import Reads
from drumkeep.operations.sparkplug_wire import NAMESPACE, Kind
from drumkeep.storage import catalogue, sparkplug
from drumkeep.storage.sparkplug import GroupRow
from drumkeep.storage.tables.sparkplug import SparkplugGroup
from drumkeep.storage.transaction import Tx

LONGEST: Final = 120
MOST_UNITS: Final = 100
_TITLE: Final = "The Sparkplug group cannot be read."


@dataclass(frozen=True, slots=True)
class KnownGroup:
    """A group that is read, and on whose account.

    Attributes
    ----------
    id
        What an address names it by.
    group, node
        As in topics; without a node all edge nodes of the group.
    reads
        How its metrics are read.
    asks
        Whether an edge node may be asked to send its births again.
    """

    id: int
    group: str
    node: str
    gateway: GatewayKey
    reads: Reads
    asks: bool

    @property
    def messages(self) -> tuple[str, ...]:
        """The filters of the topics on which its edge nodes and devices tell."""
        return tuple(self._topics(kind) for kind in Kind)

    @property
    def commands(self) -> tuple[str, ...]:
        """The filters of the topics on which they take commands."""
        return self._topics("NCMD"), self._topics("DCMD")

    def _topics(self, kind: str) -> str:
        # The sign for all further levels stands for none as well (MQTT 5.0, 4.7.1.2).
        return f"{NAMESPACE}/{self.group}/{kind}/{self.node}/#".replace("//", "/")


def create_group(
    tx: Tx,
    *,
    group: str,
    gateway: str,
    node: str = "",
    units: Sequence[tuple[str, str]] = (),
    asks: bool = True,
) -> KnownGroup:
    """Have a group read, or one edge node of it; from some seconds later on.

    Parameters
    ----------
    group, node
        As in topics; without a node all edge nodes of the group that are not named elsewhere.
    gateway
        On whose account, as ``site/code``.
    units
        Pairs of a pattern (``*``, ``?``) of ``device/metric`` and the unit of those that say none.
    asks
        Whether an edge node may be asked to send its births again.

    Raises
    ------
    Invalid
        The group, the node, the gateway or a unit cannot be used.
    Conflict
        They are read already, or the gateway reads another group.
    """
    reads = check_group(group=group, node=node, units=units)
    owner = gateway_named(tx, reference=gateway)
    for known in sparkplug.list_groups(tx):
        if (known.row.name, known.row.node) == (group, node):
            mend = "Let that one go first."
            raise Conflict(_TITLE, [Fault("group", group, "is read already", mend)])
        if known.row.gateway_id == owner.id and known.row.name != group:
            # Names of sensors begin with the gateway and do not tell its groups apart.
            problem = f"reads the group {known.row.name}"
            mend = "Make a gateway for this group."
            raise Conflict(_TITLE, [Fault("gateway", gateway, problem, mend)])
    row = catalogue.add(
        tx,
        SparkplugGroup(
            name=group,
            node=node,
            gateway_id=owner.id,
            units=[list(pair) for pair in reads.units],
            asks=asks,
        ),
    )
    site, _, code = gateway.partition("/")
    return _known(GroupRow(row, site, code, owner.urn))


def check_group(*, group: str, node: str, units: Sequence[tuple[str, str]]) -> Reads:
    """Refuse a group that cannot be read; return how it is, but for whose gateway.

    Raises
    ------
    Invalid
        With every fault.
    """
    checks = Checks()
    for field, text in (("group", group), ("node", node)):
        if (field == "group" and not text) or not _is_level(text):
            checks.add(
                field,
                text,
                "cannot be one level of a topic",
                f"Write it as the device has it: at most {LONGEST} characters, without / + #.",
            )
    if len(units) > MOST_UNITS:
        checks.add("units", len(units), "are too many", f"Give at most {MOST_UNITS}.")
    for pattern, unit in units[:MOST_UNITS]:
        if not pattern or len(pattern) > LONGEST or not pattern.isprintable():
            checks.add("units", pattern, "is no pattern", "Write such as *temperature* = F.")
        elif unit_meant(unit) is None:
            checks.add("units", unit, "is not a unit that is known", "Write C, F, K, %RH or W/m2.")
    checks.raise_faults(_TITLE)
    return Reads("", tuple((pattern, unit) for pattern, unit in units))


def _is_level(text: str) -> bool:
    return (
        len(text) <= LONGEST
        and text == text.strip()
        and text.isprintable()
        and not set(text) & set("/+#")
    )


def delete_group(tx: Tx, *, group_id: int) -> None:
    """Read a group no more; what it brought stays.

    Raises
    ------
    NotFound
        There is none of this number.
    """
    sparkplug.forget_group(tx, row=_row(tx, group_id).row)


def group_at(tx: Tx, *, group_id: int) -> KnownGroup:
    """Return the group that an address names.

    Raises
    ------
    NotFound
        There is none of this number.
    """
    return _known(_row(tx, group_id))


def known_groups(tx: Tx) -> tuple[KnownGroup, ...]:
    """Return every group that is read, by name and edge node."""
    return tuple(map(_known, sparkplug.list_groups(tx)))


def group_of(groups: Sequence[KnownGroup], *, group: str, node: str) -> KnownGroup | None:
    """Return by which one an edge node is read: its own before that of the whole group."""
    found = {one.node: one for one in groups if one.group == group and one.node in {"", node}}
    return found.get(node) or found.get("")


def _row(tx: Tx, group_id: int) -> GroupRow:
    for known in sparkplug.list_groups(tx):
        if known.row.id == group_id:
            return known
    mend = "See the list of Sparkplug devices."
    raise NotFound(
        "There is no such Sparkplug group.", [Fault("group", group_id, "is not known", mend)]
    )


def _known(found: GroupRow) -> KnownGroup:
    row = found.row
    units = tuple((pattern, unit) for pattern, unit in row.units)
    return KnownGroup(
        row.id,
        row.name,
        row.node,
        GatewayKey(found.site, found.gateway),
        Reads(found.urn, units),
        row.asks,
    )
