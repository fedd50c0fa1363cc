"""Sites as sent and answered."""

from drumkeep.asgi.fields import LEFT_OUT, Answer, Body, Line, Number


class SiteIn(Body):
    """A new site."""

    code: Line
    name: Line
    timezone: Line
    altitude_m: Number = 0.0
    output_class: Line = "from_20"


class SitePatch(Body):
    """What may change; what is left out stays."""

    name: Line = LEFT_OUT
    timezone: Line = LEFT_OUT
    altitude_m: Number = LEFT_OUT
    output_class: Line = LEFT_OUT


class SiteOut(Answer):
    """A site."""

    code: str
    name: str
    timezone: str
    altitude_m: float
    output_class: str
