"""Sparkplug groups that are read, and what is known of their edge nodes from their births."""

from datetime import datetime

from sqlalchemy import BigInteger, Index, UniqueConstraint
from sqlmodel import JSON, Field, SQLModel

from drumkeep.storage.keys import BIG


class SparkplugGroup(SQLModel, table=True):
    """On whose account a group's metrics come; ``node`` is empty for all its edge nodes.

    ``units`` are pairs of a pattern of metrics and the unit of those that name none; ``asks`` is
    whether an edge node may be asked for its births.
    """

    __tablename__ = "sparkplug_group"
    __table_args__ = (UniqueConstraint("name", "node"),)

    id: int = Field(default=None, primary_key=True)
    name: str = Field(max_length=120)
    node: str = Field(default="", max_length=120)
    gateway_id: int = Field(foreign_key="gateway.id", index=True)
    units: list[list[str]] = Field(default_factory=list, sa_type=JSON)
    asks: bool = True


class SparkplugNode(SQLModel, table=True):
    """An edge node as it was heard last: its session (``bd_seq``), its latest message (``seq``)."""

    __tablename__ = "sparkplug_node"
    __table_args__ = (UniqueConstraint("group_id", "name"),)

    id: int = Field(default=None, primary_key=True)
    group_id: int = Field(foreign_key="sparkplug_group.id")
    name: str = Field(max_length=120)
    alive: bool = False
    bd_seq: int | None = None
    seq: int | None = None
    asked_at: datetime | None = None


class SparkplugMetric(SQLModel, table=True):
    """What a birth said of a metric: ``unit`` is None when it is no reading.

    ``device`` is empty for the edge node itself; ``alias``, unsigned on the wire, has a sign here.
    """

    __tablename__ = "sparkplug_metric"
    __table_args__ = (Index(None, "node_id", "alias"), Index(None, "node_id", "device", "name"))

    id: int | None = Field(default=None, primary_key=True, sa_type=BIG)
    node_id: int = Field(foreign_key="sparkplug_node.id")
    device: str = Field(max_length=120)
    name: str = Field(max_length=200)
    alias: int | None = Field(default=None, sa_type=BigInteger)
    datatype: int | None = None
    unit: str | None = Field(default=None, max_length=8)
