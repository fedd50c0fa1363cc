"""Every word of the interface that is not in a template: states, answers, cautions, sentences.

The words are the trade's and the standards' own. Texts that carry a temperature, a mass or a time
take a ``Formats``, so that they read in the viewer's units and language. What is said of a drum
or of a group of them stands in ``drum_words``.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from drumkeep.domain.glances import GRAVITY
from drumkeep.domain.readiness import OUTPUT_EDGE_KG
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import TaskView

SIDE: Final[Mapping[str, str]] = {"iso": "iso", "resin": "resin"}

READINESS: Final[Mapping[str, str]] = {
    "on_hold": "on hold",
    "unknown": "not known",
    "too_warm": "too warm",
    "too_cold": "too cold",
    "ready": "ready",
}

CONDITION: Final[Mapping[str, str]] = {
    "clear": "clear",
    "seeding_risk": "cold enough to seed",
    "solids_suspected": "solids suspected",
    "redissolving": "solids being dissolved",
    "gassing": "gassing",
    "agent_loss_suspected": "loss of blowing agent suspected",
    "pressure": "pressure over its warning",
    "overpressure": "under pressure",
    "bulged": "bulged",
}

CONDITION_MEANS: Final[Mapping[str, str]] = {
    "seeding_risk": "The lowest liquid is cold enough for solids to start. Warming stops it.",
    "solids_suspected": "Solids may lie at the bottom. Warming alone does not clear it.",
    "redissolving": "It clears after hours of heat with mixing, and then a clear look.",
    "gassing": "Blowing agent is coming out of the liquid.",
    "agent_loss_suspected": "More blowing agent may have left than the product allows.",
}
"""What a condition is, beside what the rules say to do; pressure is told by headline and reason."""

LINE: Final[Mapping[str, str]] = {"air": "air", "bottom": "bottom", "mean": "mean", "top": "top"}
"""What a curve of a drum's page is of."""

BASIS: Final[Mapping[str, str]] = {
    "measured": "measured in the drum within the last 2 hours",
    "modelled": "computed from the air around it since the last measurement",
    "unsupported": "not supported by readings: take it as not known",
}

UNMEASURED: Final = (
    "computed from the air where it came from or stands, nobody measured it: take it as not known"
)

PLACE_KIND: Final[Mapping[str, str]] = {
    "warehouse": "warehouse",
    "warm_room": "warm room",
    "dock": "dock",
    "yard": "yard",
    "vehicle": "vehicle",
    "rig": "rig",
    "job_site": "job site",
}

MOTION: Final[Mapping[str, str]] = {
    "still": "still",
    "fan": "stirred by a fan or draughts",
    "moving": "moving, as on a road or in a yard",
    "windy": "windy",
}
STANDING: Final[Mapping[str, str]] = {
    "pallet": "a pallet",
    "slab": "the bare floor",
    "truck_floor": "a truck's floor",
}
CROWDING: Final[Mapping[str, str]] = {
    "alone": "apart from each other",
    "four": "four on a pallet",
    "block": "in a block",
}

HAPPENED: Final[Mapping[str, str]] = {
    "received": "received",
    "wanted": "wanted",
    "moved": "moved",
    "weighed": "weighed",
    "topped": "topped",
    "decanted": "decanted",
    "dipped": "dipped",
    "skin": "skin",
    "opened": "opened",
    "resealed": "resealed",
    "blanketed": "blanketed",
    "agitated": "agitated",
    "vented": "vented",
    "heated": "heated",
    "held": "held",
    "released": "released",
    "inspected": "inspected",
    "ratio_off": "ratio pulsed",
    "emptied": "emptied",
    "disposed": "disposed",
    "corrected": "corrected",
}
"""What was done, in a word."""

ROLE: Final[Mapping[str, str]] = {
    "crew": "crew",
    "dispatcher": "dispatcher",
    "manager": "manager",
    "viewer": "viewer",
}

PRIORITY: Final[Mapping[str, str]] = {
    "critical": "critical",
    "high": "high",
    "medium": "medium",
    "low": "low",
}

ALARM_STATE: Final[Mapping[str, str]] = {
    "normal": "Normal",
    "unacknowledged": "Unacknowledged",
    "acknowledged": "Acknowledged",
    "returned_unacknowledged": "Returned to normal, unacknowledged",
    "shelved": "Shelved",
    "suppressed": "Suppressed by design",
    "out_of_service": "Out of service",
}

ACTION: Final[Mapping[str, tuple[str, str]]] = {
    "dipped": ("Dip", "Record the dip"),
    "skin": ("Skin temperature", "Record the skin temperature"),
    "moved": ("Move", "Record the move"),
    "agitated": ("Mix", "Record the mixing"),
    "opened": ("Open", "Record the opening"),
    "vented": ("Vent", "Record the venting"),
    "resealed": ("Reseal", "Record the resealing"),
    "inspected": ("Look inside", "Record the look"),
    "blanketed": ("Put dry gas on", "Record the dry gas"),
    "heated": ("Heat or wrap", "Record the heater"),
    "weighed": ("Weigh", "Record the weight"),
    "decanted": ("Pour into another drum", "Record the pour"),
    "wanted": ("Want it ready", "Record the time"),
    "held": ("Put on hold", "Put on hold"),
    "released": ("Release", "Release"),
    "emptied": ("Emptied", "Record that it is empty"),
    "topped": ("Top up from another drum", "Record the pour"),
    "disposed": ("Disposed of", "Record the disposal"),
    "ratio_off": ("Ratio pulsing", "Ratio pulsing at the gun"),
}
"""What each form is called, and what its button says."""

TALLY: Final[Mapping[str, tuple[str, str]]] = {
    "on_hold": ("1 on hold", "{number} on hold"),
    "unknown": ("1 not known", "{number} not known"),
    "too_warm": ("1 too warm", "{number} too warm"),
    "too_cold": ("1 too cold", "{number} too cold"),
    "ready": ("1 ready", "{number} ready"),
}
_DRUMS: Final[Mapping[str | None, tuple[str, str]]] = {
    None: ("1 drum", "{number} drums"),
    "iso": ("1 iso drum", "{number} iso drums"),
    "resin": ("1 resin drum", "{number} resin drums"),
}
"""Of one, and of any other number."""

AND: Final = "and"
OR: Final = "or"


def output_words(output_class: str, formats: Formats) -> str:
    """Return an output class in words: ``20 lb a minute and over``."""
    rate = formats.mass(OUTPUT_EDGE_KG)
    if output_class == "under_20":
        return formats.words("under {rate} a minute", rate=rate)
    return formats.words("{rate} a minute and over", rate=rate)


def side_words(side: str) -> str:
    """Return letter and word of a side: ``A iso`` or ``B resin``."""
    return "A iso" if side == "iso" else "B resin"


def tally(counts: Mapping[str, int] | Iterable[tuple[str, int]]) -> str:
    """Return numbers of drums by readiness, the usable first: ``3 ready, 9 too cold``."""
    numbers = dict(counts)
    order = ("ready", *(name for name in GRAVITY if name != "ready"))
    said = [_numbered(TALLY[n], numbers[n]) for n in order if n in TALLY and numbers.get(n)]
    return ", ".join(said) or "no drums"


def drums_words(count: int, side: str | None = None) -> str:
    """Return a number of drums: ``1 drum``, ``6 iso drums``."""
    return _numbered(_DRUMS[side], count)


def _numbered(words: tuple[str, str], number: int) -> str:
    one, many = words
    return one if number == 1 else many.format(number=number)


def page_words(number: int, pages: int) -> str:
    """Return which page of a list is shown: ``Page 2 of 50.``."""
    return f"Page {number} of {pages}."


def later_words(tasks: Sequence[TaskView]) -> str:
    """Return what stands below the urgent tasks: ``9 more, less urgent``."""
    number = len(tasks)
    if any(task.state == "acknowledged" for task in tasks):
        return f"{number} more, less urgent or acknowledged"
    return f"{number} more, less urgent"


def audience_words(audience: str) -> str:
    """Return whom a task or alarm is for: ``for manager and dispatcher``."""
    names = [name.strip() for name in audience.split(",") if name.strip()]
    together = f" {AND} ".join(names)
    return f"for {together}" if names else ""
