"""No page shows somebody a link that answers that the role may not."""

import pytest

from drumkeep.domain.roles import Role
from tests.fixtures.html import Page
from tests.fixtures.people import signed_in
from tests.fixtures.serving import serving
from tests.fixtures.yard import yard

__all__ = ["serving", "yard"]
PAGES = (
    "/floor",
    "/alarms",
    "/stock",
    "/sensors",
    "/gateways",
    "/receive",
    "/import",
    "/export",
    "/products",
    "/claims",
    "/pulls",
    "/move",
    "/hookup",
    "/labels",
    "/trace",
    "/stock/counts",
    "/stock/consumables",
    "/stock/losses",
    "/mappings",
    "/me",
)


@pytest.mark.parametrize("role", [Role.VIEWER, Role.CREW, Role.DISPATCHER])
def test_no_page_leads_a_role_to_a_refusal(serving, yard, role):
    tag = yard.receive()["tag"]
    refused = 403
    links: dict[str, str] = {}
    with signed_in(serving, role) as person:
        for path in [*PAGES, f"/drums/{tag}"]:
            answer = person.client.get(path)
            if answer.status_code == refused:
                continue
            assert answer.status_code == 200, path
            links |= {
                link["href"].partition("#")[0]: path
                for link in Page(answer.text).all("a")
                if link.get("href", "").startswith("/")
            }
        assert len(links) > 15
        denied = {
            (where, link)
            for link, where in links.items()
            if person.client.get(link).status_code == refused
        }
    assert denied == set()
