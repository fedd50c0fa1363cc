"""Unregistered sensors as answered."""

from drumkeep.asgi.fields import Answer, MomentOut


class StrayOut(Answer):
    """A sensor that was heard and is not registered; its readings are kept until it is."""

    id: int
    name: str
    quantity: str
    gateway: str | None
    heard: int
    kept: int
    first_heard_at: MomentOut
    last_heard_at: MomentOut
    first_at: MomentOut | None
    last_at: MomentOut | None
    last_value: float | None
