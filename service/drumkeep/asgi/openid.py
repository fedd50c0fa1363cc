"""Signing in with a company's account: OpenID Connect, authorisation code with PKCE.

Nothing is begun until somebody signs in that way. What the provider says of itself is kept for an
hour, its keys until one is used that is not among them.
"""

import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final
from urllib.parse import urlencode

import httpx
from authlib.oauth2.rfc7636 import create_s256_code_challenge
from authlib.oidc.core import CodeIDToken
from joserfc import jwt
from joserfc.errors import JoseError
from joserfc.jwk import KeySet

from drumkeep.domain.company_sign_in import Identity
from drumkeep.errors import Unauthenticated, Unavailable

ALGORITHMS: Final = frozenset(
    {"RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512", "EdDSA"}
)
"""Only signatures by a key that the provider alone has: never ``none``, never a shared secret."""

_DISCOVERY: Final = "/.well-known/openid-configuration"
_KEPT: Final = timedelta(hours=1)
_LEEWAY_S: Final = 60
_TIMEOUT_S: Final = 5.0
_LONGEST_SUBJECT: Final = 255
_LONGEST_EMAIL: Final = 254
_AWAY: Final = "The company's sign-in cannot be reached. Try again, or sign in with a password."
_NOT_THEIRS: Final = "The company's sign-in gave an answer that cannot be trusted. Begin again."


@dataclass
class OpenIdProvider:
    """An OpenID provider, as :class:`drumkeep.asgi.dependencies.Provider` has it.

    Parameters
    ----------
    issuer
        Its address, exactly as it names itself.
    client_id
        As what it knows us.
    client_secret
        What we show it; None if it asks for none.
    redirect_uri
        Where it sends people back.
    role_claim
        Claim of the ID token that names roles, if any does.
    """

    issuer: str
    client_id: str
    client_secret: str | None = field(repr=False)
    redirect_uri: str
    role_claim: str | None = None
    _known: Mapping[str, Any] = field(default_factory=dict, repr=False)
    _known_at: datetime | None = field(default=None, repr=False)
    _keys: KeySet | None = field(default=None, repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)

    def address(self, *, state: str, nonce: str, verifier: str, now: datetime) -> str:
        """Return where to send a person to sign in.

        Raises
        ------
        Unavailable
            The provider is away, or is not what it should be.
        """
        query = urlencode(
            {
                "response_type": "code",
                "client_id": self.client_id,
                "redirect_uri": self.redirect_uri,
                "scope": "openid email profile",
                "state": state,
                "nonce": nonce,
                "code_challenge": create_s256_code_challenge(verifier),
                "code_challenge_method": "S256",
            }
        )
        begun = str(self._metadata(now)["authorization_endpoint"])
        return f"{begun}{'&' if '?' in begun else '?'}{query}"

    def identity(self, *, code: str, nonce: str, verifier: str, now: datetime) -> Identity:
        """Return who came back with a code.

        Raises
        ------
        Unavailable
            The provider is away.
        Unauthenticated
            The code is none, or what it is good for is not for us, now, and this sign-in.
        """
        answer = self._exchange(code=code, verifier=verifier, now=now)
        token, access = answer.get("id_token"), answer.get("access_token")
        if not isinstance(token, str):
            raise Unauthenticated(_NOT_THEIRS)
        try:
            decoded = self._decoded(token, now=now)
            claims = CodeIDToken(
                decoded.claims,
                decoded.header,
                {
                    "iss": {"essential": True, "value": self.issuer},
                    "aud": {"essential": True, "value": self.client_id},
                    "sub": {"essential": True},
                    "nonce": {"essential": True, "value": nonce},
                },
                {"nonce": nonce, "client_id": self.client_id, "access_token": access},
            )
            claims.validate(now=int(now.timestamp()), leeway=_LEEWAY_S)
        # whatever a token is made of, it is no defect of ours
        except (JoseError, ValueError, TypeError, KeyError) as error:
            raise Unauthenticated(_NOT_THEIRS) from error
        subject = claims["sub"]
        if not isinstance(subject, str) or not 0 < len(subject) <= _LONGEST_SUBJECT:
            raise Unauthenticated(_NOT_THEIRS)
        return self._identity(subject, claims)

    def _identity(self, subject: str, claims: Mapping[str, Any]) -> Identity:
        email = claims.get("email")
        verified = claims.get("email_verified") is True and isinstance(email, str)
        named = claims.get(self.role_claim) if self.role_claim else None
        roles = [named] if isinstance(named, str) else named if isinstance(named, list) else []
        return Identity(
            issuer=self.issuer,
            subject=subject,
            email=str(email)[:_LONGEST_EMAIL].lower() if verified else None,
            username=str(claims.get("preferred_username") or ""),
            display_name=str(claims.get("name") or ""),
            roles=tuple(role for role in roles if isinstance(role, str)),
        )

    def _decoded(self, token: str, *, now: datetime) -> jwt.Token:
        told = self._metadata(now).get("id_token_signing_alg_values_supported")
        offered = ALGORITHMS if not isinstance(told, list) else ALGORITHMS & {*map(str, told)}
        for fresh in (False, True):
            try:
                return jwt.decode(
                    token, self._key_set(fresh=fresh, now=now), algorithms=sorted(offered)
                )
            except (JoseError, ValueError) as error:
                # Perhaps it signs with new keys: then they are published by now.
                if fresh:
                    raise Unauthenticated(_NOT_THEIRS) from error
        raise AssertionError

    def _exchange(self, *, code: str, verifier: str, now: datetime) -> Mapping[str, Any]:
        sent = {
            "grant_type": "authorization_code",
            "code": code,
            "redirect_uri": self.redirect_uri,
            "code_verifier": verifier,
        }
        auth = None
        if self.client_secret is None:
            sent["client_id"] = self.client_id
        elif "client_secret_basic" in self._ways_to_show_secret(now):
            auth = httpx.BasicAuth(self.client_id, self.client_secret)
        else:
            sent |= {"client_id": self.client_id, "client_secret": self.client_secret}
        address = str(self._metadata(now)["token_endpoint"])
        try:
            answer = httpx.post(address, data=sent, auth=auth, timeout=_TIMEOUT_S)
            told = answer.json()
        except (httpx.HTTPError, ValueError) as error:
            raise Unavailable(_AWAY) from error
        if not answer.is_success or not isinstance(told, dict):
            raise Unauthenticated(_NOT_THEIRS)
        return told

    def _ways_to_show_secret(self, now: datetime) -> list[str]:
        # The default of OpenID Connect Discovery 1.0, section 3.
        told = self._metadata(now).get("token_endpoint_auth_methods_supported")
        return told if isinstance(told, list) else ["client_secret_basic"]

    def _metadata(self, now: datetime) -> Mapping[str, Any]:
        with self._lock:
            if self._known_at is None or not timedelta() <= now - self._known_at < _KEPT:
                found = _fetched(self.issuer.rstrip("/") + _DISCOVERY)
                # OpenID Connect Discovery 1.0, section 4.3: else another could speak for it.
                scheme = f"{self.issuer.partition(':')[0]}://"
                ends = ("authorization_endpoint", "token_endpoint", "jwks_uri")
                if found.get("issuer") != self.issuer or not all(
                    str(found.get(end)).startswith(scheme) for end in ends
                ):
                    raise Unavailable(_AWAY)
                self._known, self._known_at = found, now
            return self._known

    def _key_set(self, *, fresh: bool, now: datetime) -> KeySet:
        address = str(self._metadata(now)["jwks_uri"])
        with self._lock:
            if self._keys is None or fresh:
                found: Any = _fetched(address)
                try:
                    self._keys = KeySet.import_key_set(found)
                except (JoseError, ValueError, KeyError, TypeError) as error:
                    raise Unavailable(_AWAY) from error
            return self._keys


def _fetched(address: str) -> Mapping[str, Any]:
    try:
        answer = httpx.get(address, timeout=_TIMEOUT_S).raise_for_status()
        found = answer.json()
    except (httpx.HTTPError, ValueError) as error:
        raise Unavailable(_AWAY) from error
    if not isinstance(found, dict):
        raise Unavailable(_AWAY)
    return found
