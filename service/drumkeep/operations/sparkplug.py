"""Sparkplug messages: packs of readings, and what is known of each edge node afterwards.

An edge node names its metrics in births and may call them by alias later on, so births are kept in
the database: whoever reads the next message, after a restart too, knows them. What was in no birth
that is known is refused, and the edge node asked for its births, at most once in
:data:`ASK_EVERY`; so it is when a message is missing between two (Eclipse Sparkplug 3.0.0, 5.9).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from drumkeep.domain.readings import PREFIX_LENGTH, ArrivedPack, GatewayKey, Reading, Rejection
from drumkeep.errors import Unavailable
from drumkeep.operations.presence import note_presence
from drumkeep.operations.sparkplug_groups import LONGEST, KnownGroup, group_of, known_groups
from drumkeep.operations.sparkplug_metrics import (
    LONGEST_NAME,
    Births,
    Born,
    read_metrics,
    session_of,
)
from drumkeep.operations.sparkplug_wire import (
    BIRTHS,
    Address,
    Kind,
    NoPayload,
    Payload,
    address_of,
    decode,
)
from drumkeep.storage import sparkplug
from drumkeep.storage.savepoint import savepoint
from drumkeep.storage.tables.sparkplug import SparkplugMetric, SparkplugNode
from drumkeep.storage.transaction import Tx

ASK_EVERY: Final = timedelta(seconds=60)
MOST_NODES: Final = 500
"""Edge nodes that are known of one group."""
MOST_KNOWN: Final = 5000
"""Metrics that are known of one edge node with its devices."""

_SEQUENCES: Final = 256
_HIGHEST_DATATYPE: Final = 34
_SESSION_BITS: Final = 2**31 - 1


@dataclass(frozen=True, slots=True)
class SparkplugMessage:
    """A message as it came; its payload is cut where ``size`` is more than is read."""

    topic: str
    payload: bytes
    size: int
    retained: bool
    received_at: datetime


@dataclass(frozen=True, slots=True)
class Ask:
    """An edge node that is to send its births again."""

    group: str
    node: str


@dataclass(frozen=True, slots=True)
class SparkplugHeard:
    """What messages brought: packs to be recorded, and whom to ask once all is stored."""

    packs: tuple[ArrivedPack, ...]
    asks: tuple[Ask, ...]


def hear(tx: Tx, *, messages: Sequence[SparkplugMessage], now: datetime) -> SparkplugHeard:
    """Read messages in the order in which they came, and keep what they say of their edge nodes.

    Raises
    ------
    Unavailable
        The database is locked, full or away.
    """
    if not messages:
        return SparkplugHeard((), ())
    hearing = _Hearing(tx, known_groups(tx), now)
    packs = [pack for message in messages for pack in hearing.read(message)]
    hearing.note_presence()
    return SparkplugHeard(tuple(packs), tuple(hearing.asks))


def hear_what_fits(
    tx: Tx, *, messages: Sequence[SparkplugMessage], now: datetime
) -> SparkplugHeard:
    """Do the same where something cannot be kept for a reason that nobody foresaw.

    Raises
    ------
    Unavailable
        The database is locked, full or away.
    """
    packs: list[ArrivedPack] = []
    asks: list[Ask] = []
    for message in messages:
        try:
            with savepoint(tx):
                heard = hear(tx, messages=[message], now=now)
        except Unavailable:
            raise
        except Exception as error:  # noqa: BLE001 - whatever it is, the others must be stored
            mend = "See the service's log of this moment, and report it."
            reason = Rejection(None, "", type(error).__name__, "could not be read", mend)
            packs.append(_refused(message, None, reason))
        else:
            packs += heard.packs
            asks += heard.asks
    return SparkplugHeard(tuple(packs), tuple(dict.fromkeys(asks)))


class _Hearing:
    """One transaction's messages."""

    def __init__(self, tx: Tx, groups: Sequence[KnownGroup], now: datetime) -> None:
        self._tx = tx
        self._groups = groups
        self._now = now
        self._changed: dict[GatewayKey, datetime] = {}
        self.asks: list[Ask] = []

    def read(self, message: SparkplugMessage) -> list[ArrivedPack]:
        """Return the pack of a message; none of commands, which are not for us."""
        address = address_of(message.topic)
        if address is None:
            return []
        group = group_of(self._groups, group=address.group, node=address.node)
        if max(len(address.node), len(address.device)) > LONGEST:
            mend = f"Give edge nodes and devices names of at most {LONGEST} characters."
            reason = Rejection(None, "topic", message.topic, "has too long a level", mend)
            return [_refused(message, None, reason)]
        if group is None:
            mend = "Say on the page of Sparkplug devices which gateway it is."
            reason = Rejection(None, "topic", message.topic, "is of a group that is not read", mend)
            return [_refused(message, None, reason)]
        try:
            payload = _decoded(message)
        except NoPayload as none:
            reason = Rejection(None, "", None, none.problem, none.mend)
            return [_refused(message, group.gateway, reason)]
        node = self._node(group, address.node)
        if node is None:
            mend = f"{MOST_NODES} of a group are read. Split it, or name its edge nodes."
            reason = Rejection(None, "topic", message.topic, "is one edge node too many", mend)
            return [_refused(message, group.gateway, reason)]
        return [self._pack(message, address, payload, group, node)]

    def note_presence(self) -> None:
        """Note which gateways are there: each is while one of its edge nodes is."""
        for gateway, since in self._changed.items():
            ids = [group.id for group in self._groups if group.gateway == gateway]
            alive = any(node.alive for node in sparkplug.nodes_of(self._tx, group_ids=ids))
            note_presence(self._tx, gateway=gateway, online=alive, since=since, now=self._now)

    def _node(self, group: KnownGroup, name: str) -> SparkplugNode | None:
        node = sparkplug.node_of(self._tx, group_id=group.id, name=name)
        if node is not None:
            return node
        if sparkplug.count_nodes(self._tx, group_id=group.id) >= MOST_NODES:
            return None
        return sparkplug.add_node(self._tx, row=SparkplugNode(group_id=group.id, name=name))

    def _pack(
        self,
        message: SparkplugMessage,
        address: Address,
        payload: Payload,
        group: KnownGroup,
        node: SparkplugNode,
    ) -> ArrivedPack:
        if address.kind is Kind.NODE_DEATH:
            self._died(message, payload, group, node)
            return _pack_of(message, group.gateway, (), ())
        missing = self._follow(address, payload, node)
        if address.kind is Kind.DEVICE_DEATH:
            return _pack_of(message, group.gateway, (), ())
        found = read_metrics(
            payload,
            address=address,
            reads=group.reads,
            births=births_of(self._tx, address, payload, node_id=node.id),
            received_at=message.received_at,
            retained=message.retained,
        )
        rejections = found.rejections
        if address.kind is Kind.NODE_BIRTH:
            self._born(message, payload, group, node)
        if address.kind in BIRTHS and not self._keep(address, node, found.born):
            mend = f"Send births of at most {MOST_KNOWN} metrics for each edge node."
            rejections += (Rejection(None, "metrics", None, "are too many to be known", mend),)
        if missing or found.unknown or not node.alive:
            self._ask(group, node)
        return _pack_of(message, group.gateway, found.readings, rejections)

    def _keep(self, address: Address, node: SparkplugNode, born: Sequence[Born]) -> bool:
        """Keep what a birth says; False when it is too much."""
        whole = address.kind is Kind.NODE_BIRTH
        device = None if whole else address.device
        sparkplug.forget_births(self._tx, node_id=node.id, device=device)
        if sparkplug.count_metrics(self._tx, node_id=node.id) + len(born) > MOST_KNOWN:
            return False
        sparkplug.keep_births(
            self._tx,
            rows=[
                SparkplugMetric(
                    node_id=node.id,
                    device=one.device,
                    name=one.name,
                    alias=sparkplug.stored_alias(one.alias),
                    datatype=_small(one.datatype),
                    unit=one.unit,
                )
                for one in born
            ],
        )
        return True

    def _follow(self, address: Address, payload: Payload, node: SparkplugNode) -> bool:
        """Follow the numbers of messages; True when some are missing before this one."""
        if payload.seq is None:
            return False
        before, node.seq = node.seq, payload.seq % _SEQUENCES
        if address.kind is Kind.NODE_BIRTH or before is None:
            return False
        return node.seq not in {before, (before + 1) % _SEQUENCES}  # the same: it came again

    def _born(
        self,
        message: SparkplugMessage,
        payload: Payload,
        group: KnownGroup,
        node: SparkplugNode,
    ) -> None:
        session = session_of(payload)
        node.bd_seq = None if session is None else session & _SESSION_BITS
        node.alive = True
        self._changed[group.gateway] = _said_at(message, payload)

    def _died(
        self,
        message: SparkplugMessage,
        payload: Payload,
        group: KnownGroup,
        node: SparkplugNode,
    ) -> None:
        session = session_of(payload)
        if session is not None and node.bd_seq not in {None, session & _SESSION_BITS}:
            return  # the will of a connection before the one that lives
        node.alive = False
        # A will was written when the connection began: when it ended, only the broker knows.
        self._changed[group.gateway] = message.received_at

    def _ask(self, group: KnownGroup, node: SparkplugNode) -> None:
        if not group.asks:
            return
        if node.asked_at is not None and self._now - node.asked_at < ASK_EVERY:
            return
        node.asked_at = self._now
        self.asks.append(Ask(group.group, node.name))


def births_of(tx: Tx, address: Address, payload: Payload, *, node_id: int) -> Births:
    """Return what an edge node's births said of the metrics of a message; a birth needs none."""
    if address.kind in BIRTHS:
        return Births()
    rows = sparkplug.metrics_of(
        tx,
        node_id=node_id,
        aliases=[metric.alias for metric in payload.metrics if metric.alias is not None],
        device=address.device,
        names=[metric.name[:LONGEST_NAME] for metric in payload.metrics if metric.name],
    )
    return Births.of(
        Born(row.device, row.name, sparkplug.wire_alias(row.alias), row.datatype, row.unit)
        for row in rows
    )


def _decoded(message: SparkplugMessage) -> Payload:
    if message.size > len(message.payload):
        raise NoPayload(f"is too long ({message.size} octets)", "Send smaller payloads.")
    return decode(message.payload)


def _said_at(message: SparkplugMessage, payload: Payload) -> datetime:
    """Return when a birth was sent, as it says, and never later than it came."""
    came = message.received_at
    if payload.time_ms is None or payload.time_ms / 1000 >= came.timestamp():
        return came
    return datetime.fromtimestamp(payload.time_ms / 1000, tz=UTC)


def _small(datatype: int | None) -> int | None:
    return datatype if datatype is not None and datatype <= _HIGHEST_DATATYPE else None


def _pack_of(
    message: SparkplugMessage,
    gateway: GatewayKey,
    readings: tuple[Reading, ...],
    rejections: tuple[Rejection, ...],
) -> ArrivedPack:
    return ArrivedPack(
        source=message.topic,
        gateway=gateway,
        readings=readings,
        rejections=rejections,
        spool=None,
        prefix=message.payload[:PREFIX_LENGTH],
        size=message.size,
        repeats=True,
    )


def _refused(
    message: SparkplugMessage, gateway: GatewayKey | None, reason: Rejection
) -> ArrivedPack:
    return ArrivedPack(
        source=message.topic,
        gateway=gateway,
        readings=(),
        rejections=(reason,),
        spool=None,
        prefix=message.payload[:PREFIX_LENGTH],
        size=message.size,
    )
