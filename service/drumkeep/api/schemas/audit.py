"""Entries of the audit as answered."""

from typing import Annotated

from pydantic import BaseModel, Field

from drumkeep.asgi.fields import Answer, Moment, MomentOut
from drumkeep.domain.audit import AuditQuery


class AuditAsked(BaseModel):
    """Which part of the audit."""

    model_config = {"extra": "forbid"}

    who: Annotated[str, Field(max_length=120)] = ""
    did: Annotated[str, Field(max_length=64)] = ""
    thing: Annotated[str, Field(max_length=200)] = ""
    text: Annotated[str, Field(max_length=200)] = ""
    since: Moment | None = None
    until: Moment | None = None
    limit: Annotated[int, Field(ge=1, le=200)] = 50
    cursor: Annotated[int, Field(ge=1, le=2**63 - 1)] | None = None

    def query(self) -> AuditQuery:
        """Return what is looked for."""
        return AuditQuery(
            who=self.who,
            did=self.did,
            thing=self.thing,
            text=self.text,
            since=self.since,
            until=self.until,
        )


class PartOut(Answer):
    """A row that was made, changed or removed; ``fields``: what each held before and after."""

    of: str
    verb: str
    fields: dict[str, tuple[object, object]]


class EntryOut(Answer):
    """What one doer did to one thing; ``deed`` is the same for all that was done in one go."""

    id: int
    at: MomentOut
    deed: str
    actor: str
    role: str
    way: str
    session: str | None
    device: str
    address: str
    did: str
    kind: str
    thing: str
    parts: list[PartOut]
