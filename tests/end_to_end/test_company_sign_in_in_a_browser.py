"""Signing in with a company's account in a real Chromium: there, and back with the cookie."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from drumkeep.app import create_app, make_engine
from drumkeep.operations import accounts
from drumkeep.settings import Settings
from drumkeep.storage import schema
from drumkeep.storage.transaction import transaction
from tests.fixtures.devtools import Chromium
from tests.fixtures.openid import CLIENT, SECRET, openid_provider
from tests.fixtures.ports import free_port
from tests.fixtures.serving import listening

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """Run a service whose people come from a provider; give its address."""
    secret = tmp_path / "client-secret"
    secret.write_text(SECRET)
    port = free_port()
    with openid_provider() as provider:
        provider.person = {"sub": "s-1", "name": "Sam Ortiz", "preferred_username": "sam"}
        settings = Settings(
            data_dir=tmp_path,
            public_url=f"http://127.0.0.1:{port}",
            oidc_issuer=provider.issuer,
            oidc_client_id=CLIENT,
            oidc_client_secret_file=secret,
            oidc_unknown="crew",
        )
        engine = make_engine(settings)
        schema.upgrade(engine)
        now = datetime.now(UTC)  # noqa: TID251 - a real service
        with transaction(engine) as tx:
            accounts.create_account(
                tx, name="ana", display_name="Ana", role="manager", password="x" * 20, now=now
            )
        with listening(create_app(settings, engine=engine), port=port) as url:
            yield url
        engine.dispose()


def test_one_click_there_and_one_is_signed_in_where_one_wanted_to_go(
    address: str, chromium: str, tmp_path: Path
) -> None:
    browser = Chromium(program=chromium, profile=tmp_path / "profile")
    try:
        with browser.page(address, width=390, height=844) as page:
            page.goto("/alarms")
            page.click("a[href^='/sign-in/company']")
            # whole, so that what is looked at below is there
            page.wait_for("location.pathname === '/alarms' && document.readyState === 'complete'")
            assert page.evaluate("document.querySelector('.top-who').textContent") == "Sam Ortiz"
            # what is signed in is this browser, and not by an address that could be passed on
            assert page.evaluate("location.search") == ""
            page.goto("/me")
            assert page.evaluate("document.querySelectorAll('.devices').length") > 0
            assert page.faults == []
    finally:
        browser.close()
