"""Drum events as sent, by API or by form: one shape for each kind."""

from typing import Annotated, Any, Final, Literal
from uuid import UUID

from pydantic import AfterValidator, Field, Strict

from drumkeep.asgi.fields import Body, Day, Line, Moment, Note, refusal
from drumkeep.domain.drum_temperatures import HIGHEST_C, LOWEST_C, impossible
from drumkeep.domain.events import EventKind

ClientId = Annotated[UUID, Strict(strict=False)]
"""Made by the client; the same one again gets the same answer."""


def _possible(c: float) -> float:
    wrong = impossible(c)
    if wrong is not None:
        raise refusal(*wrong)
    return c


Celsius = Annotated[
    float,
    AfterValidator(_possible),
    Field(json_schema_extra={"minimum": LOWEST_C, "maximum": HIGHEST_C}),
]
"""A temperature of a drum or its liquid."""
Kilograms = Annotated[float, Field(gt=0.0, le=400.0)]
Height = Annotated[float, Field(ge=0.0, le=1.2)]
Reason = Annotated[str, Field(min_length=1, max_length=500)]


class EventIn(Body):
    """What every event has."""

    id: ClientId
    kind: str
    at: Moment
    note: Note | None = None


class MovedIn(EventIn):
    """The drum went to another place, ``site/code``.

    ``from`` is where it was last seen to stand: when it was moved meanwhile, this is refused.
    """

    kind: Literal["moved"]
    to: Line
    from_: str | None = Field(default=None, alias="from", min_length=1, max_length=200)


class WantedIn(EventIn):
    """The drum is wanted ready ``at`` a time; ``withdrawn`` takes the wish back."""

    kind: Literal["wanted"]
    output: Literal["under_20", "from_20"] | None = None
    withdrawn: bool = False


class WeighedIn(EventIn):
    """What the scale said: gross with the drum, or net."""

    kind: Literal["weighed"]
    gross_kg: Kilograms | None = None
    net_kg: Annotated[float, Field(ge=0.0, le=400.0)] | None = None
    resolution_kg: Annotated[float, Field(gt=0.0, le=50.0)] | None = None


class ToppedIn(EventIn):
    """Liquid of another drum was added."""

    kind: Literal["topped"]
    kg: Kilograms
    from_: str = Field(alias="from", min_length=1, max_length=20)


class DecantedIn(EventIn):
    """Liquid went into another drum."""

    kind: Literal["decanted"]
    to: Line
    kg: Kilograms


class DippedIn(EventIn):
    """A probe in the liquid, at a height above the bottom."""

    kind: Literal["dipped"]
    c: Celsius
    height_m: Height | None = None
    sigma_k: Annotated[float, Field(gt=0.0, le=10.0)] | None = None


class SkinIn(EventIn):
    """The wall's temperature at a height above the bottom."""

    kind: Literal["skin"]
    c: Celsius
    height_m: Height | None = None
    sigma_k: Annotated[float, Field(gt=0.0, le=10.0)] | None = None


class PlainIn(EventIn):
    """Kinds that need no more than their time."""

    kind: Literal["opened", "resealed", "vented"]


class EndedIn(EventIn):
    """The drum is used up or thrown away; ``reason`` where liquid was lost with it."""

    kind: Literal["emptied", "disposed"]
    reason: Reason | None = None


class BlanketedIn(EventIn):
    """Dry gas on top; ``regulator`` while it stays connected."""

    kind: Literal["blanketed"]
    gas: Line
    kpa: Annotated[float, Field(ge=0.0, le=20.0)]
    regulator: bool = False


class AgitatedIn(EventIn):
    """Stirred or recirculated."""

    kind: Literal["agitated"]
    minutes: Annotated[float, Field(gt=0.0, le=600.0)]


class HeatedIn(EventIn):
    """A heater on the drum until a time; it takes the place of an earlier one.

    ``device`` is band, base or blanket, or other words: those count as another heater, and what
    burns or steams is refused. ``height_m`` of a band's middle above the bottom. A blanket of 0 W
    insulates only.
    """

    kind: Literal["heated"]
    device: Line
    watts: Annotated[float, Field(ge=0.0, le=5000.0)]
    until: Moment
    height_m: Height | None = None
    thermostat_c: Annotated[float, Field(ge=0.0, le=150.0)] | None = None
    blanket_r_m2k_w: Annotated[float, Field(ge=0.0, le=5.0)] | None = None


class ReasonIn(EventIn):
    """Put on hold, or released from it."""

    kind: Literal["held", "released"]
    reason: Reason


class InspectedIn(EventIn):
    """A look: what was seen; what is left out was not looked for. ``ring`` is the bung's."""

    kind: Literal["inspected"]
    reached_bottom: bool | None = None
    solids: Literal["none", "seen"] | None = None
    skin: Literal["none", "seen"] | None = None
    bulge: Literal["none", "seen"] | None = None
    ring: Literal["red", "double", "none"] | None = None


class RatioOffIn(EventIn):
    """The ratio pulsed at the gun; both drums of the set are to be looked at again.

    ``with`` is the tag of the other; without it, the one open drum of the other side in the place.
    """

    kind: Literal["ratio_off"]
    with_: str | None = Field(default=None, alias="with", min_length=1, max_length=20)


class CorrectedIn(EventIn):
    """Another event was wrong: replace its time or fields, or withdraw it with ``void``."""

    kind: Literal["corrected"]
    event: ClientId
    void: bool = False
    new_at: Moment | None = None
    data: dict[str, Any] | None = None


class DrumIn(Body):
    """A drum that arrived; ``id`` is the client's UUID of the receipt, ``from`` where it came from.

    Without ``tag`` it is given one; without ``net_kg`` it holds what its product's drums hold.
    ``share`` is what its side sees of what the ``crowding`` of its place leaves it.
    """

    id: ClientId
    product: Line
    lot: Line
    place: Line
    at: Moment
    tag: Annotated[str, Field(min_length=1, max_length=20)] | None = None
    from_: str | None = Field(default=None, alias="from", min_length=1, max_length=200)
    net_kg: Kilograms | None = None
    liquid_c: Celsius | None = None
    made_on: Day | None = None
    share: Annotated[float, Field(gt=0.0, le=1.0)] = 1.0
    tare_kg: Annotated[float, Field(ge=1.0, le=60.0)] = 18.1
    un_mark: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    note: Note | None = None


SHAPES: Final[dict[EventKind, type[EventIn]]] = {
    EventKind.MOVED: MovedIn,
    EventKind.WANTED: WantedIn,
    EventKind.WEIGHED: WeighedIn,
    EventKind.TOPPED: ToppedIn,
    EventKind.DECANTED: DecantedIn,
    EventKind.DIPPED: DippedIn,
    EventKind.SKIN: SkinIn,
    EventKind.OPENED: PlainIn,
    EventKind.RESEALED: PlainIn,
    EventKind.VENTED: PlainIn,
    EventKind.EMPTIED: EndedIn,
    EventKind.DISPOSED: EndedIn,
    EventKind.BLANKETED: BlanketedIn,
    EventKind.AGITATED: AgitatedIn,
    EventKind.HEATED: HeatedIn,
    EventKind.HELD: ReasonIn,
    EventKind.RELEASED: ReasonIn,
    EventKind.INSPECTED: InspectedIn,
    EventKind.RATIO_OFF: RatioOffIn,
    EventKind.CORRECTED: CorrectedIn,
}
"""``received`` is not here: a drum is received by posting it to ``/drums``."""
