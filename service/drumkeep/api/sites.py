"""``/sites``."""

from fastapi import APIRouter, Depends, Response

from drumkeep.api.addresses import located
from drumkeep.api.paging import PageDep, page_of
from drumkeep.api.schemas.sites import SiteIn, SiteOut, SitePatch
from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import PageOf
from drumkeep.domain.roles import Action
from drumkeep.operations import sites
from drumkeep.storage import catalogue
from drumkeep.storage.tables.catalogue import Site

router = APIRouter(prefix="/sites", tags=["sites"])
_CHANGE = [Depends(require(Action.CHANGE_CATALOGUE))]


@router.get("")
def list_sites(tx: ReadingDep, page: PageDep) -> PageOf[SiteOut]:
    """List the sites."""
    rows = catalogue.list_sites(tx, after=page.after, limit=page.limit + 1)
    return page_of(rows, lambda shown: [_out(site) for site in shown], limit=page.limit)


@router.get("/{code}")
def get_site(tx: ReadingDep, code: str) -> SiteOut:
    """Get a site."""
    return _out(sites.site_at(tx, code=code))


@router.post("", status_code=201, dependencies=_CHANGE)
def create_site(tx: TransactionDep, body: SiteIn, response: Response) -> SiteOut:
    """Make a site."""
    site = sites.create_site(tx, **body.model_dump())
    located(response, "sites", site.code)
    return _out(site)


@router.patch("/{code}", dependencies=_CHANGE)
def change_site(tx: TransactionDep, code: str, body: SitePatch) -> SiteOut:
    """Change a site."""
    return _out(sites.change_site(tx, code=code, changes=body.changes()))


def _out(site: Site) -> SiteOut:
    return SiteOut.model_validate(site, from_attributes=True)
