"""Alarms as sent and answered."""

from typing import Annotated

from pydantic import Field

from drumkeep.asgi.fields import Answer, Body, MomentOut


class ShelveIn(Body):
    """For how long, and why."""

    minutes: Annotated[float, Field(gt=0.0, le=1440.0)]
    reason: Annotated[str, Field(min_length=1, max_length=500)]


class AlarmEntryOut(Answer):
    """One change of an alarm."""

    at: MomentOut
    state: str
    words: str
    by: str | None


class AlarmOut(Answer):
    """One occurrence of one cause."""

    id: str
    kind: str
    cause: str
    state: str
    phase: str
    priority: str
    audience: list[str]
    message: str
    drums: list[str]
    deadline: MomentOut | None
    raised_at: MomentOut
    changed_at: MomentOut
    acknowledged_at: MomentOut | None
    acknowledged_by: str | None
    returned_at: MomentOut | None
    shelved_until: MomentOut | None
    history: list[AlarmEntryOut]
