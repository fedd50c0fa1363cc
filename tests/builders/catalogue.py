"""Valid bodies of catalogue objects, as the API takes them; arguments replace or add fields."""

from itertools import count
from typing import Any

Body = dict[str, Any]

_numbers = count(1)


def fresh(word: str) -> str:
    """Return a code that no other test of this run has."""
    return f"{word}-{next(_numbers)}"


def site(**changes: Any) -> Body:
    return {"code": fresh("site"), "name": "North yard", "timezone": "America/Chicago"} | changes


def place(site_code: str, **changes: Any) -> Body:
    return {
        "site": site_code,
        "code": fresh("hall"),
        "name": "Long hall",
        "kind": "warehouse",
    } | changes


def product(**changes: Any) -> Body:
    return {"code": fresh("iso"), "name": "Iso of the north", "side": "iso"} | changes


def lot(product_code: str, **changes: Any) -> Body:
    return {"product": product_code, "code": fresh("LOT"), "made_on": "2026-01-15"} | changes


def gateway(site_code: str, **changes: Any) -> Body:
    code = fresh("attic")
    return {"site": site_code, "code": code, "urn": f"urn:dev:os:32473-{code}"} | changes


def sensor(**changes: Any) -> Body:
    return {
        "name": f"urn:dev:os:32473-{fresh('probe')}:temp",
        "quantity": "temperature",
        "interval_s": 60,
    } | changes


def account(**changes: Any) -> Body:
    return {
        "name": fresh("person"),
        "display_name": "Somebody",
        "role": "crew",
        "password": "a long enough one",
        "temporary": False,
    } | changes


def token(**changes: Any) -> Body:
    return {"name": fresh("integration"), "role": "viewer"} | changes
