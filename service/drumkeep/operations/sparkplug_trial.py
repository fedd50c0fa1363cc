"""What a sample of a Sparkplug message would become; nothing is stored."""

import base64
import binascii
import re
from dataclasses import replace
from datetime import datetime
from typing import Final

from drumkeep.domain.readings import Rejection
from drumkeep.errors import Fault, Invalid
from drumkeep.operations.gateways import gateway_named
from drumkeep.operations.sparkplug import births_of
from drumkeep.operations.sparkplug_groups import group_of, known_groups
from drumkeep.operations.sparkplug_metrics import Births, Metrics, Reads, read_metrics
from drumkeep.operations.sparkplug_wire import (
    BIRTHS,
    Address,
    NoPayload,
    Payload,
    address_of,
    decode,
)
from drumkeep.storage import sparkplug
from drumkeep.storage.transaction import Tx

_HEX: Final = re.compile(r"(?:0x)?((?:[0-9A-Fa-f]{2})+)")
_SPACE: Final = re.compile(r"\s+")


def octets_of(text: str, *, field: str = "sample") -> bytes:
    """Read octets that a person pasted, in hexadecimal digits or base64.

    Raises
    ------
    Invalid
        They are neither.
    """
    packed = _SPACE.sub("", text)
    if found := _HEX.fullmatch(packed):
        return bytes.fromhex(found[1])
    try:
        return base64.b64decode(packed, validate=True)
    except (binascii.Error, ValueError):
        mend = "Paste the payload in hexadecimal digits or in base64, as MQTT clients show it."
        raise Invalid(
            "The sample cannot be read.",
            [Fault(field, text[:80], "is neither hexadecimal nor base64", mend)],
        ) from None


def try_sample(
    tx: Tx, *, reads: Reads, gateway: str, topic: str, octets: bytes, now: datetime
) -> Metrics:
    """Return what a sample would become.

    Parameters
    ----------
    reads
        How the group would be read.
    gateway
        On whose account, as ``site/code``.
    topic, octets
        The message; the aliases in it are those of the births heard so far, if the group is read.
    now
        When it would come.

    Raises
    ------
    Invalid
        The gateway is not known.
    """
    reads = replace(reads, urn=gateway_named(tx, reference=gateway).urn)
    address = address_of(topic)
    if address is None:
        mend = "Write such as spBv1.0/group/DDATA/node/device; NCMD, DCMD and STATE hold none."
        return _refused("sample_topic", topic, "is no topic of readings", mend)
    try:
        payload = decode(octets)
    except NoPayload as none:
        return _refused("sample", f"{len(octets)} octets", none.problem, none.mend)
    births = _heard(tx, address, payload)
    return read_metrics(payload, address=address, reads=reads, births=births, received_at=now)


def _heard(tx: Tx, address: Address, payload: Payload) -> Births:
    group = group_of(known_groups(tx), group=address.group, node=address.node)
    if group is None or address.kind in BIRTHS:
        return Births()
    node = sparkplug.node_of(tx, group_id=group.id, name=address.node)
    return Births() if node is None else births_of(tx, address, payload, node_id=node.id)


def _refused(field: str, value: str, problem: str, mend: str) -> Metrics:
    return Metrics((), (Rejection(None, field, value, problem, mend),))
