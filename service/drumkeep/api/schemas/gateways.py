"""Gateways as sent and answered."""

from drumkeep.asgi.fields import LEFT_OUT, Answer, Body, Line, MomentOut


class GatewayIn(Body):
    """A new gateway at a site."""

    site: Line
    code: Line
    urn: Line


class GatewayPatch(Body):
    """What may change."""

    urn: Line = LEFT_OUT


class GatewayOut(Answer):
    """A gateway; ``gateway`` is how other bodies refer to it."""

    gateway: str
    site: str
    code: str
    urn: str
    online: bool
    presence_at: MomentOut | None
    last_seen_at: MomentOut | None
