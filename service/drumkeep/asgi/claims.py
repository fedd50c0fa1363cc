"""A claim as sent, and its temperature record as a table."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Annotated, Any, Final
from uuid import UUID

from pydantic import Field, Strict

from drumkeep.asgi.database import Database
from drumkeep.asgi.event_shapes import ClientId
from drumkeep.asgi.fields import Body, Line
from drumkeep.asgi.traces import local
from drumkeep.domain.claims import ClaimState
from drumkeep.domain.quantities import fahrenheit
from drumkeep.operations.claim_records import POINT
from drumkeep.operations.claims import LONGEST_NOTE, MOST_DRUMS, claim_made, draft_claim, make_claim
from drumkeep.operations.drums import By

_DEGREES: Final = POINT[1:-1]


class ClaimIn(Body):
    """Drums of one lot that came with something wrong; ``id`` is the client's UUID."""

    id: ClientId
    drums: Annotated[list[Line], Field(min_length=1, max_length=MOST_DRUMS)]


class ClaimNoteIn(Body):
    """What became of a claim: a new state, words, or both; ``id`` is the client's UUID."""

    id: ClientId
    state: Annotated[ClaimState, Strict(strict=False)] | None = None
    text: Annotated[str, Field(max_length=LONGEST_NOTE)] = ""


async def claimed(
    database: Database, *, key: UUID, tags: Sequence[str], by: By, now: datetime
) -> int:
    """Make a claim and return its number: put together by reading, so that nobody waits to write.

    Raises
    ------
    Invalid, Conflict, Refused
        As ``operations.claims`` says.
    """
    known = await database.read(lambda tx: claim_made(tx, key=key))
    if known is not None:
        return known.id
    draft = await database.read(lambda tx: draft_claim(tx, tags=tags, by=by, now=now))
    return await database.write(lambda tx: make_claim(tx, key=key, draft=draft, by=by, now=now).id)


def temperature_rows(record: Mapping[str, Any], *, us: bool) -> Iterator[tuple[object, ...]]:
    """Return the temperature record of a claim, a line for each point of each drum.

    Times in the zone of the drum's site, temperatures as asked; ``known`` is yes or no.
    """
    unit = "f" if us else "c"
    yield ("drum", "at", *(f"{name.removesuffix('_c')}_{unit}" for name in _DEGREES), "known")
    for drum in record["drums"]:
        for at, *values, known in drum["temperature"]["points"]:
            yield (
                drum["tag"],
                local(datetime.fromisoformat(at), drum["zone"]),
                *(fahrenheit(c) if us and c is not None else c for c in values),
                "yes" if known else "no",
            )
