"""A client of the service, as any other: over HTTP, signed in."""

from collections.abc import Mapping
from typing import Any, Final, Self

import httpx

from drumkeep.demo.sign_ins import SignIn
from drumkeep.errors import Unavailable

_API: Final = "/api/v1"
_TIMEOUT_S: Final = 60.0
_OK: Final = 400
_TAKEN: Final = 409
_WRONG: Final = 401


class Client:
    """One person's connection to the service.

    Parameters
    ----------
    address
        Where the service is, like ``http://127.0.0.1:8055``.
    """

    def __init__(self, address: str) -> None:
        self._http = httpx.Client(base_url=address, timeout=_TIMEOUT_S, trust_env=False)

    def __enter__(self) -> Self:
        """Enter a block at whose end the connection is closed."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the connection."""
        self._http.close()

    def healthy(self) -> bool:
        """Tell whether the service answers."""
        try:
            return self._http.get("/health", timeout=2.0).status_code < _OK
        except httpx.TransportError:
            return False

    def sign_in(self, person: SignIn) -> bool:
        """Sign in; False if name and passphrase are not known."""
        body = {"name": person.name, "password": person.passphrase}
        answer = self._send("POST", "/session", body)
        if answer.status_code == _WRONG:
            return False
        self._http.headers["X-CSRF-Token"] = _told(answer)["csrf"]
        return True

    def sign_out(self) -> None:
        """End the session."""
        self._send("DELETE", "/session")

    def get(self, path: str, **query: Any) -> Any:  # noqa: ANN401 - JSON
        """Return what is at a path of the API."""
        return _told(self._send("GET", path, query=query))

    def post(self, path: str, body: Any) -> Any:  # noqa: ANN401 - JSON
        """Send something new, and return the answer."""
        return _told(self._send("POST", path, body))

    def patch(self, path: str, body: Any) -> Any:  # noqa: ANN401 - JSON
        """Change something, and return the answer."""
        return _told(self._send("PATCH", path, body))

    def put(self, path: str, body: Any) -> Any:  # noqa: ANN401 - JSON
        """Say what is to hold at a path, and return the answer."""
        return _told(self._send("PUT", path, body))

    def ensure(self, path: str, body: Any) -> None:  # noqa: ANN401 - JSON
        """Send something that may be there already, from a start that was interrupted."""
        answer = self._send("POST", path, body)
        if answer.status_code != _TAKEN:
            _told(answer)

    def _send(
        self,
        method: str,
        path: str,
        body: Any = None,  # noqa: ANN401 - JSON
        query: Mapping[str, Any] | None = None,
    ) -> httpx.Response:
        try:
            return self._http.request(method, _API + path, json=body, params=query)
        except httpx.TransportError as error:
            raise Unavailable(f"The service did not answer {method} {path}: {error!r}.") from error


def _told(answer: httpx.Response) -> Any:  # noqa: ANN401 - JSON
    if answer.status_code < _OK:
        return answer.json() if answer.content else None
    request = answer.request
    raise Unavailable(
        f"The service refused {request.method} {request.url.path} ({answer.status_code}): "
        f"{answer.text}"
    )
