"""Counts of places as sent and answered."""

from uuid import UUID

from drumkeep.asgi.event_shapes import ClientId
from drumkeep.asgi.fields import Answer, Body, Line, MomentOut


class CountIn(Body):
    """Begin to count a place, or go on where its count is not finished; ``id`` is the client's."""

    id: ClientId
    place: Line


class SeenIn(Body):
    """A drum that was seen, by its tag."""

    tag: Line


class MendIn(Body):
    """What to do about one; ``id`` is the client's of the event that may come of it."""

    id: ClientId
    tag: Line
    mend: Line


class SeenOut(Answer):
    """A tag that was seen, when and by whom; ``known`` whether a drum bears it."""

    tag: str
    known: bool
    at: MomentOut
    by: str


class DifferenceOut(Answer):
    """How one drum differs from the records.

    ``kind``: elsewhere (seen here, on record in another place), not_seen (on record here),
    unknown_tag, gone (seen, on record as emptied or disposed of). ``mends`` is what may be done.
    """

    kind: str
    tag: str
    recorded: str | None
    mends: list[str]
    mend: str | None
    mended_at: MomentOut | None
    mended_by: str | None
    event: UUID | None


class CountOut(Answer):
    """A count; its differences are final once ``finished_at`` is set."""

    id: int
    place: str
    begun_at: MomentOut
    by: str
    finished_at: MomentOut | None
    finished_by: str | None
    seen: list[SeenOut]
    differences: list[DifferenceOut]


class CountLineOut(Answer):
    """A count in a list; ``open`` differences are those that nobody has mended."""

    id: int
    place: str
    begun_at: MomentOut
    by: str
    finished_at: MomentOut | None
    seen: int
    differences: int
    open: int
