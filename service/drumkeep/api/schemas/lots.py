"""Lots as sent and answered."""

from datetime import date

from drumkeep.asgi.fields import LEFT_OUT, Answer, Body, Day, Line


class LotIn(Body):
    """A new lot of a product."""

    product: Line
    code: Line
    made_on: Day
    expires_on: Day | None = None


class LotPatch(Body):
    """What may change; what is left out stays."""

    made_on: Day = LEFT_OUT
    expires_on: Day | None = None


class LotColdOut(Answer):
    """The lasting mark of a lot of iso: how cold and how long at worst, and in how many drums."""

    min_c: float
    hours: float
    drums: int


class LotOut(Answer):
    """A lot; ``expires_on`` null means by the product's shelf life."""

    product: str
    code: str
    made_on: date
    expires_on: date | None
    was_cold: LotColdOut | None
