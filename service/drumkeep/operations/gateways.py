"""Gateways: what publishes readings."""

import re
from typing import Final, TypedDict

from drumkeep.domain.checks import Checks
from drumkeep.errors import Conflict, Fault, Invalid, NotFound
from drumkeep.operations.sites import site_named
from drumkeep.storage import catalogue
from drumkeep.storage.tables.catalogue import Gateway
from drumkeep.storage.transaction import Tx

RESERVED: Final = frozenset({"alarms"})
"""Stands in place of a gateway in the topics of alarms."""

# A URN (RFC 8141) of characters that may stand in a SenML name, since names are made from it.
_URN: Final = re.compile(r"urn:[a-z0-9][a-z0-9-]{0,30}[a-z0-9]:[A-Za-z0-9:./_-]{1,80}")


class GatewayChanges(TypedDict, total=False):
    """What may change on a gateway; its site and code stand in topics and stay."""

    urn: str


def create_gateway(tx: Tx, *, site: str, code: str, urn: str) -> Gateway:
    """Make a gateway.

    Raises
    ------
    Invalid
        A value cannot be used: an unknown site, a reserved code, no URN.
    Conflict
        The code is taken at this site, or the URN anywhere.
    """
    at = site_named(tx, code=site)
    checks = Checks()
    checks.code("code", code)
    if code in RESERVED:
        checks.add("code", code, "is reserved for alarms", "Choose another code.")
    _check_urn(checks, urn)
    checks.raise_faults("The gateway cannot be made.")
    if catalogue.gateway_by_code(tx, site=site, code=code) is not None:
        raise Conflict(
            "The gateway exists already.",
            [Fault("code", code, "is taken at this site", "Choose another, or change it.")],
        )
    _refuse_taken(tx, urn)
    return catalogue.add(tx, Gateway(site_id=at.id, code=code, urn=urn))


def change_gateway(tx: Tx, *, site: str, code: str, changes: GatewayChanges) -> Gateway:
    """Change a gateway, as when the device was replaced.

    Raises
    ------
    NotFound
        There is no such gateway.
    Invalid
        The URN is none.
    Conflict
        The URN is taken.
    """
    gateway = gateway_at(tx, site=site, code=code)
    if "urn" in changes and changes["urn"] != gateway.urn:
        checks = Checks()
        _check_urn(checks, changes["urn"])
        checks.raise_faults("The gateway cannot be changed.")
        _refuse_taken(tx, changes["urn"])
        gateway.urn = changes["urn"]
    return gateway


def gateway_at(tx: Tx, *, site: str, code: str) -> Gateway:
    """Return the gateway that an address names.

    Raises
    ------
    NotFound
        There is none.
    """
    gateway = catalogue.gateway_by_code(tx, site=site, code=code)
    if gateway is None:
        raise NotFound("There is no such gateway.", [_unknown("gateway", f"{site}/{code}")])
    return gateway


def gateway_named(tx: Tx, *, reference: str, field: str = "gateway") -> Gateway:
    """Return the gateway that a field refers to as ``site/code``.

    Raises
    ------
    Invalid
        There is none; the fault names the field.
    """
    site, _, code = reference.partition("/")
    gateway = catalogue.gateway_by_code(tx, site=site, code=code)
    if gateway is None:
        raise Invalid("The gateway is not known.", [_unknown(field, reference)])
    return gateway


def _unknown(field: str, reference: str) -> Fault:
    return Fault(
        field,
        reference,
        "is not known",
        "Write a gateway of the list of gateways as site/code, like north/gw-1.",
    )


def _check_urn(checks: Checks, urn: str) -> None:
    if not _URN.fullmatch(urn):
        checks.add(
            "urn",
            urn,
            "is no URN",
            "Write the device's URN (RFC 9039), like urn:dev:mac:0024befffe804ff1.",
        )


def _refuse_taken(tx: Tx, urn: str) -> None:
    if catalogue.gateway_by_urn(tx, urn=urn) is not None:
        raise Conflict(
            "The gateway exists already.",
            [Fault("urn", urn, "is the URN of another gateway", "Look it up on the device.")],
        )
