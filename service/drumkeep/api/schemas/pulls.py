"""Pull lists and checks of sides as sent and answered."""

from typing import Annotated, Literal
from uuid import UUID

from pydantic import Field

from drumkeep.asgi.fields import Answer, Body, Line, Moment, MomentOut, Whole
from drumkeep.domain.products import OutputClass
from drumkeep.domain.pulls import Hindrance
from drumkeep.domain.side_checks import CheckAnswer

Output = Annotated[OutputClass, Field(strict=False)]


class PullIn(Body):
    """How many sets of which products; ``wanted_at`` left out: at once."""

    id: Annotated[UUID, Field(strict=False)]
    site: Line
    iso: Line
    resin: Line
    sets: Whole
    output: Output | None = None
    wanted_at: Moment | None = None


class TagIn(Body):
    """A drum by its tag."""

    tag: Line


class CloseIn(Body):
    """How the list ended: the drums were taken, or it is wanted no more."""

    closed_as: Literal["done", "dropped"]


class PullHeadOut(Answer):
    """What was asked for, by whom, and how it ended."""

    id: int
    site: str
    iso: str
    resin: str
    output: str
    sets: int
    wanted_at: MomentOut | None
    made_at: MomentOut
    by: str
    closed_at: MomentOut | None
    closed_by: str | None
    closed_as: str | None


class PullDrumOut(Answer):
    """A drum of a list; ``hindrance`` null: it is ready in time, as of now."""

    tag: str
    side: str
    lot: str
    place: str
    net_kg: float
    hindrance: Hindrance | None
    reason: str
    taken_at: MomentOut | None
    taken_by: str | None


class ReasonOut(Answer):
    """Why drums are not taken, and how many."""

    why: Hindrance
    drums: int


class MissingOut(Answer):
    """What a side lacks.

    ``ready``: how many of the missing ones are ready by now; ``waiting``: how many could be ready,
    the last at ``could_at``, in ``warm_room`` if they are brought there at once. ``unlooked``:
    drums that might be ready then and were not looked at, since there are too many.
    """

    side: str
    count: int
    ready: int
    waiting: int
    could_at: MomentOut | None
    warm_room: str | None
    reasons: list[ReasonOut]
    unlooked: int


class PullOut(PullHeadOut):
    """A list with how its drums stand now; ``mixed_lots``: sides that hold more than one lot."""

    drums: list[PullDrumOut]
    missing: list[MissingOut]
    mixed_lots: list[str]


class SideCheckIn(Body):
    """Two drums that are to be hooked up; from which list, and for which rig, if that is known."""

    id: Annotated[UUID, Field(strict=False)]
    first: Line
    second: Line
    pull: Whole | None = None
    rig: Line | None = None


class CheckedDrumOut(Answer):
    """A drum as it was when it was checked."""

    tag: str
    side: str
    system: str | None
    product: str
    lot: str
    answer: str


class SideCheckOut(Answer):
    """A check as it was answered then: it says nothing of now."""

    id: int
    at: MomentOut
    by: str
    answer: CheckAnswer
    reasons: list[str]
    drums: list[CheckedDrumOut]
    pull: int | None
    rig: str | None
