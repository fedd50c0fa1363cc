"""Gateways' passwords as answered."""

from drumkeep.asgi.fields import Answer


class CredentialOut(Answer):
    """What a gateway signs in with at the broker; the password is answered this once."""

    username: str
    password: str
