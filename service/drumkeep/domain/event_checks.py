"""Which events make sense for a drum now, and what stands against each.

What has happened is recorded whatever stands here (an earlier time, the API): these are the checks
before somebody does it. Common practice, no source; the safety data sheet comes first.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final

from drumkeep.domain.condensation import DEW_MARGIN_K
from drumkeep.domain.conditions import Condition
from drumkeep.domain.drums import DrumFacts
from drumkeep.domain.events import EventKind
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Side

OFFERED: Final = (
    EventKind.INSPECTED,
    EventKind.DIPPED,
    EventKind.MOVED,
    EventKind.AGITATED,
    EventKind.OPENED,
    EventKind.VENTED,
    EventKind.RESEALED,
    EventKind.BLANKETED,
    EventKind.HEATED,
    EventKind.WEIGHED,
    EventKind.DECANTED,
    EventKind.TOPPED,
    EventKind.WANTED,
    EventKind.SKIN,
    EventKind.HELD,
    EventKind.RELEASED,
    EventKind.EMPTIED,
    EventKind.DISPOSED,
    EventKind.RATIO_OFF,
)
"""In the order in which they are shown; a receipt has its own page, a correction its own button."""

ALREADY: Final[Mapping[EventKind, Mapping[EventKind, str]]] = {
    EventKind.OPENED: {EventKind.OPENED: "was opened"},
    EventKind.VENTED: {EventKind.OPENED: "was opened"},
    EventKind.RESEALED: {EventKind.RESEALED: "was resealed", EventKind.VENTED: "was vented"},
    EventKind.HELD: {EventKind.HELD: "was put on hold"},
    EventKind.RELEASED: {EventKind.RELEASED: "was released"},
    EventKind.RATIO_OFF: {EventKind.RATIO_OFF: "was put up to be looked at"},
}
"""What may have happened where something makes no sense any more, though a page offered it."""

_FROM_AFAR: Final = frozenset(
    {
        EventKind.INSPECTED,
        EventKind.WANTED,
        EventKind.HELD,
        EventKind.RELEASED,
        EventKind.SKIN,
        EventKind.RATIO_OFF,
    }
)
"""Nobody turns a bung, pours, heats or shoves for these."""

_OPENING: Final = frozenset({EventKind.OPENED, EventKind.DECANTED, EventKind.TOPPED})
_CRACKING: Final = frozenset(
    {EventKind.VENTED, EventKind.DIPPED, EventKind.AGITATED, EventKind.BLANKETED}
)
"""A bung is turned for a moment."""

_BULGED: Final = "It was seen bulged. Step away and call the manager."
_PRESSED: Final = "Its computed pressure is over the limit. Let it cool where it stands."
_COOL_FIRST: Final = (
    "Its computed pressure is up. Let it cool where it stands, then vent it slowly by the small "
    "bung."
)
_HOT: Final = (
    "Its liquid may be over its maximum. Stop heating, keep away, let it cool; call the manager."
)
_SWEATS: Final = (
    "It sweats in this air, and water makes gas in iso. Wait until it is warmer, or bring it to "
    "drier air."
)
_NO_LOOK: Final = "Record a look that finds no bulge first."

_SWEATS_SURE: Final = "It sweats in this air: I wiped the head dry, and let no wet air in."
_SOLIDS_SURE: Final = "Solids may lie in it: I look first, probe the bottom and record what I find."
_PRESSED_SURE: Final = (
    "It has cooled: I vent slowly by the small bung, face away, eyes and face covered."
)
_GASSING_SURE: Final = (
    "It gives off blowing agent: I vent slowly by the small bung, eyes and face covered."
)


@dataclass(frozen=True)
class Standing:
    """A drum as it stands.

    ``dew_margin_k`` is how far its coldest surface lies above the dew point of the air round it,
    None where that is not known; ``too_hot`` whether its liquid may be over the product's maximum.
    """

    facts: DrumFacts
    side: Side
    conditions: Collection[str] = ()
    place_kind: PlaceKind = PlaceKind.WAREHOUSE
    dew_margin_k: float | None = None
    too_hot: bool = False

    @property
    def sweats(self) -> bool:
        """Whether it is iso that wet air may sweat on."""
        margin = self.dew_margin_k
        return self.side is Side.ISO and margin is not None and margin < DEW_MARGIN_K

    def has(self, *conditions: Condition) -> bool:
        """Whether one of these is true of it."""
        return any(condition.value in self.conditions for condition in conditions)


def makes_sense(kind: EventKind, drum: Standing) -> bool:  # noqa: PLR0911 - one arm a kind
    """Whether an event can happen to a drum as it stands."""
    facts = drum.facts
    match kind:
        case EventKind.OPENED | EventKind.VENTED:
            return not facts.open
        case EventKind.DECANTED:
            return facts.net_kg > 0.0
        case EventKind.RESEALED:
            return facts.open
        case EventKind.RELEASED:
            poor = drum.has(Condition.AGENT_LOSS_SUSPECTED)
            return facts.hold is not None or facts.bulged or poor
        case EventKind.HELD:
            return facts.hold is None
        case EventKind.RATIO_OFF:
            feeds = facts.open or drum.place_kind is PlaceKind.RIG
            return feeds and facts.recheck is None
        case _:
            return facts.ended is None


def refusal(kind: EventKind, drum: Standing) -> str | None:
    """Return why something must not be done to a drum now; None where nothing stands against it."""
    if kind is EventKind.RELEASED and drum.facts.bulged and not drum.facts.bulge_gone:
        return _NO_LOOK
    if kind in _FROM_AFAR:
        return None
    wet = drum.sweats and kind in _OPENING and not drum.facts.open
    stands = (
        (drum.facts.bulged, _BULGED),
        (drum.has(Condition.OVERPRESSURE), _PRESSED),
        (drum.has(Condition.PRESSURE) and kind is not EventKind.VENTED, _COOL_FIRST),
        (drum.too_hot, _HOT),
        (wet, _SWEATS),
    )
    return next((words for so, words in stands if so), None)


def to_confirm(kind: EventKind, drum: Standing) -> str | None:
    """Return what somebody has to say yes to before doing something; None where nothing."""
    if kind not in _OPENING | _CRACKING or drum.facts.open:
        return None
    if kind in _OPENING and drum.has(Condition.SOLIDS_SUSPECTED, Condition.REDISSOLVING):
        return _SOLIDS_SURE
    if drum.sweats and kind in _CRACKING:
        return _SWEATS_SURE
    if drum.has(Condition.PRESSURE):
        return _PRESSED_SURE
    if drum.has(Condition.GASSING):
        return _GASSING_SURE
    return None
