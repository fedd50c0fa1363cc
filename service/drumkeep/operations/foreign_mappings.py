"""Mappings of other devices' messages: made, listed, let go."""

from dataclasses import dataclass

from drumkeep.domain.checks import Checks
from drumkeep.domain.readings import GatewayKey
from drumkeep.errors import Conflict, Fault, NotFound
from drumkeep.operations.foreign import ForeignMap, check_map
from drumkeep.operations.gateways import gateway_named
from drumkeep.storage import catalogue, foreign
from drumkeep.storage.tables.foreign import ForeignMapping
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True)
class KnownMapping:
    """A mapping and on whose account its readings come."""

    code: str
    gateway: GatewayKey
    map: ForeignMap


def create_mapping(
    tx: Tx, *, code: str, gateway: str, mapping: ForeignMap, root: str
) -> KnownMapping:
    """Make a mapping; messages that come from some seconds later on are read by it.

    Raises
    ------
    Invalid
        The code, the gateway, the filter or an expression cannot be used.
    Conflict
        The code is taken.
    """
    checks = Checks()
    checks.code("code", code)
    checks.raise_faults("The mapping cannot be made.")
    check_map(mapping, root=root)
    owner = gateway_named(tx, reference=gateway)
    if foreign.mapping_by_code(tx, code=code) is not None:
        raise Conflict(
            "The mapping exists already.",
            [Fault("code", code, "is taken", "Choose another, or delete that one first.")],
        )
    catalogue.add(
        tx,
        ForeignMapping(
            code=code,
            gateway_id=owner.id,
            topic=mapping.topic,
            items=mapping.items,
            name=mapping.name,
            value=mapping.value,
            unit=mapping.unit,
            time=mapping.time,
        ),
    )
    site, _, own = gateway.partition("/")
    return KnownMapping(code, GatewayKey(site, own), mapping)


def delete_mapping(tx: Tx, *, code: str) -> None:
    """Let a mapping go; what it brought stays.

    Raises
    ------
    NotFound
        There is none of this code.
    """
    row = foreign.mapping_by_code(tx, code=code)
    if row is None:
        raise _unknown(code)
    foreign.delete(tx, row=row)


def mapping_at(tx: Tx, *, code: str) -> KnownMapping:
    """Return the mapping that an address names.

    Raises
    ------
    NotFound
        There is none of this code.
    """
    for known in known_mappings(tx):
        if known.code == code:
            return known
    raise _unknown(code)


def _unknown(code: str) -> NotFound:
    return NotFound(
        "There is no such mapping.",
        [Fault("code", code, "is not known", "See the list of mappings.")],
    )


def known_mappings(tx: Tx) -> tuple[KnownMapping, ...]:
    """Return every mapping by code."""
    gateways = foreign.gateways_of(tx)
    return tuple(
        KnownMapping(
            row.code,
            GatewayKey(*gateways[row.gateway_id]),
            ForeignMap(
                topic=row.topic,
                items=row.items,
                name=row.name,
                value=row.value,
                unit=row.unit,
                time=row.time,
            ),
        )
        for row in foreign.list_mappings(tx)
    )
