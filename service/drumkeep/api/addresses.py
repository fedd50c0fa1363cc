"""Where the API's things are."""

from typing import Final
from urllib.parse import quote

from fastapi import Response

API: Final = "/api/v1"


def located(response: Response, noun: str, *parts: str | int) -> None:
    """Tell in an answer where the thing just made is."""
    path = "/".join(quote(str(part), safe="/:") for part in parts)
    response.headers["Location"] = f"{API}/{noun}/{path}"
