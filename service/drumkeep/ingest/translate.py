"""From the wire to the domain: a message becomes a pack, or a change of presence."""

from contextlib import suppress
from functools import lru_cache
from typing import Final

from drumkeep.domain.readings import (
    PREFIX_LENGTH,
    ArrivedPack,
    GatewayKey,
    Rejection,
    SpoolNumber,
    sift,
)
from drumkeep.ingest.backlog import LONGEST_PAYLOAD, Arrived
from drumkeep.ingest.presence import PresenceChange, presence_change
from drumkeep_wire.errors import WireError
from drumkeep_wire.records import Spool
from drumkeep_wire.senml import decode_pack, find_spool
from drumkeep_wire.topics import Topics

_TOPICS_REMEMBERED: Final = 8192


def translate(message: Arrived, *, topics: Topics) -> ArrivedPack | PresenceChange:
    """Read a message as far as it can be read; what cannot becomes a rejection.

    Parameters
    ----------
    message
        As it came.
    topics
        Under which root gateways publish.
    """
    gateway: GatewayKey | None = None
    try:
        kind, gateway = _address(topics, message.topic)
        if kind == "presence":
            return presence_change(message, gateway)
        return _pack(message, gateway)
    except WireError as error:
        return _unread(message, gateway, error)


@lru_cache(_TOPICS_REMEMBERED)
def _address(topics: Topics, topic: str) -> tuple[str, GatewayKey]:
    address = topics.parse(topic)
    return address.kind, GatewayKey(address.site, address.gateway)


def _pack(message: Arrived, gateway: GatewayKey) -> ArrivedPack:
    if message.size > LONGEST_PAYLOAD:
        raise WireError(
            "",
            f"{message.size} octets",
            "is too long",
            f"Send packs of at most {LONGEST_PAYLOAD} octets.",
        )
    pack = decode_pack(message.payload, received_at=message.received_at.timestamp())
    if message.retained and pack.relative:
        raise WireError(
            "",
            None,
            "was retained with times relative to now, so nobody knows when it was",
            "Publish readings without the retain flag.",
        )
    readings, rejections = sift(pack.records, now=message.received_at)
    return ArrivedPack(
        source=message.topic,
        gateway=gateway,
        readings=readings,
        rejections=rejections,
        spool=_spool_number(pack.spool),
        prefix=message.payload[:PREFIX_LENGTH],
        size=message.size,
    )


def unreadable(message: Arrived, *, topics: Topics) -> ArrivedPack:
    """Refuse a message that made trouble nobody foresaw."""
    gateway: GatewayKey | None = None
    with suppress(WireError):
        _, gateway = _address(topics, message.topic)
    problem, mend = "could not be read", "See the service's log of this moment, and report it."
    return _unread(message, gateway, WireError("", None, problem, mend))


def _unread(message: Arrived, gateway: GatewayKey | None, error: WireError) -> ArrivedPack:
    return ArrivedPack(
        source=message.topic,
        gateway=gateway,
        readings=(),
        rejections=(Rejection(error.index, error.label, error.value, error.problem, error.mend),),
        # Refused and kept counts as stored: a spool must not wait for ever for one bad pack.
        spool=_spool_number(find_spool(message.payload)),
        prefix=message.payload[:PREFIX_LENGTH],
        size=message.size,
    )


def _spool_number(spool: Spool | None) -> SpoolNumber | None:
    return None if spool is None else SpoolNumber(spool.gateway, spool.file, spool.number)
