"""``/gateways``."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response

from drumkeep.api.addresses import located
from drumkeep.api.paging import PageQuery, page_of
from drumkeep.api.schemas.gateways import GatewayIn, GatewayOut, GatewayPatch
from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import Line, PageOf
from drumkeep.domain.roles import Action
from drumkeep.operations import gateways
from drumkeep.operations.sites import site_named
from drumkeep.storage import catalogue
from drumkeep.storage.tables.catalogue import Gateway
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/gateways", tags=["gateways"])
_CHANGE = [Depends(require(Action.CHANGE_CATALOGUE))]


class GatewayQuery(PageQuery):
    """Which gateways."""

    site: Line | None = None


@router.get("")
def list_gateways(tx: ReadingDep, query: Annotated[GatewayQuery, Query()]) -> PageOf[GatewayOut]:
    """List the gateways, of one site if asked."""
    if query.site is not None:
        site_named(tx, code=query.site)
    rows = catalogue.list_gateways(tx, site=query.site, after=query.after, limit=query.limit + 1)
    return page_of(rows, lambda shown: _out(tx, shown), limit=query.limit)


@router.get("/{site}/{code}")
def get_gateway(tx: ReadingDep, site: str, code: str) -> GatewayOut:
    """Get a gateway."""
    return _out(tx, [gateways.gateway_at(tx, site=site, code=code)])[0]


@router.post("", status_code=201, dependencies=_CHANGE)
def create_gateway(tx: TransactionDep, body: GatewayIn, response: Response) -> GatewayOut:
    """Make a gateway."""
    made = _out(tx, [gateways.create_gateway(tx, **body.model_dump())])[0]
    located(response, "gateways", made.gateway)
    return made


@router.patch("/{site}/{code}", dependencies=_CHANGE)
def change_gateway(tx: TransactionDep, site: str, code: str, body: GatewayPatch) -> GatewayOut:
    """Change a gateway."""
    return _out(tx, [gateways.change_gateway(tx, site=site, code=code, changes=body.changes())])[0]


def _out(tx: Tx, rows: Sequence[Gateway]) -> list[GatewayOut]:
    sites = catalogue.sites_by_id(tx, ids=[row.site_id for row in rows])
    return [
        GatewayOut(
            gateway=f"{sites[row.site_id].code}/{row.code}",
            site=sites[row.site_id].code,
            code=row.code,
            urn=row.urn,
            online=row.online,
            presence_at=row.presence_at,
            last_seen_at=row.last_seen_at,
        )
        for row in rows
    ]
