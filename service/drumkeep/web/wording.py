"""Every word of the interface that is not in a template: states, answers, cautions, sentences.

The words are the trade's and the standards' own. Texts that carry a temperature, a mass or a time
take a ``Formats``, so that they read in the viewer's units and language.

Over 400 lines because a word is looked for in one place, and half of it is tables of words.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.conditions import KEPT_OFF
from drumkeep.domain.glances import GRAVITY
from drumkeep.domain.readiness import OUTPUT_EDGE_KG
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import (
    DrumView,
    GroupView,
    Phrase,
    TaskView,
    VerdictView,
    sweats,
)

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

_FULL: Final = 0.95
_WIDEST: Final = 7
"""Letters of the verdict's phrase that fit a narrow phone beside each other at full size."""
AND: Final = "and"
OR: Final = "or"
_WAITING: Final = ("too_cold", "too_warm")


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


def near(drum: DrumView) -> tuple[float, ...]:
    """Return the limits (°C) that a shown temperature of the drum must not round across."""
    return (*drum.use_band_c, *drum.storage_band_c, *(limit.c for limit in drum.limits))


def bottom_words(drum: DrumView, formats: Formats) -> str:
    """Return bottom and band: ``61 °F at the bottom (57 to 62)`` with an en dash."""
    if drum.bottom_c is None:
        return formats.words("temperature not known")
    limits = near(drum)
    words = formats.words("{temp} at the bottom", temp=formats.temp(drum.bottom_c, against=limits))
    if drum.low_c is not None and drum.high_c is not None:
        words += f" ({formats.span(drum.low_c, drum.high_c, against=limits)})"
    if drum.basis == "unsupported":
        return formats.words("{words}, not supported by readings", words=words)
    return words


_HEADLINES: Final[Mapping[str, str]] = {
    "bulged": "Bulged: step away and call",
    "overpressure": "Under pressure: do not open or move",
    "pressure": "Pressure is up: keep off, do not open or move",
    "too_hot": "Too hot: stop heating, keep away",
    "sweats": "Keep it shut: it may sweat",
    "redissolving": "Look first: solids are being dissolved",
    "solids_suspected": "Look first: solids suspected",
    "recheck": "Look first: the ratio pulsed",
    "mix": "Mix it first",
    "on_hold": "On hold",
    "unknown": "Not known: do not use it yet",
}
"""What the drum page answers, gravest first."""


def headline(drum: DrumView, formats: Formats) -> str:
    """Return the answer of the drum page in a few words."""
    if drum.ended:
        return formats.tongue.say(drum.ended).capitalize()
    so: set[str] = {drum.readiness, *drum.conditions}
    so |= {"sweats"} if drum.sweats else set()
    so |= {"too_hot"} if drum.too_hot else set()
    so |= {"recheck"} if drum.readiness == "on_hold" and drum.answer == "LOOK FIRST" else set()
    so |= {"mix"} if drum.readiness == "on_hold" and drum.answer == "NOT YET" else set()
    for name, words in _HEADLINES.items():
        if name in so:
            return formats.words(words)
    fit = _fit_for(drum, formats)
    return f"{fit[:1].upper()}{fit[1:]}"


def _fit_for(drum: DrumView, formats: Formats) -> str:
    state = formats.words(READINESS[drum.readiness])
    output = output_words(drum.output_class, formats)
    return formats.words("{state} for {output}", state=state, output=output)


def until_words(drum: DrumView, formats: Formats) -> str:
    """Return until when a drum is too cold or too warm, soonest way first; empty if not known."""
    soonest = drum.soonest_ready_at
    if soonest is None or drum.readiness not in _WAITING:
        return ""
    return _until(soonest, drum.ready_where, formats)


def _until(soonest: datetime, where: str | None, formats: Formats) -> str:
    time = formats.about(soonest)
    if where:
        return formats.words("until {time} if moved to {where}", time=time, where=where)
    return formats.words("until {time}", time=time)


def state_words(drum: DrumView) -> str:
    """Return the readiness of a drum, with what stands in its way although it is warm enough."""
    words = READINESS[drum.readiness]
    return f"{words}, but keep it shut" if drum.sweats and drum.readiness == "ready" else words


def ready_lines(drum: DrumView, formats: Formats) -> tuple[str, ...]:
    """Return when the drum will be ready: in the warm room and where it stands."""
    if drum.readiness not in ("too_cold", "too_warm") or KEPT_OFF.intersection(drum.conditions):
        return ()
    lines: list[str] = []
    if drum.ready_in_warm_room_at is not None and drum.warm_room is not None:
        times = formats.between(drum.ready_in_warm_room_from, drum.ready_in_warm_room_at)
        lines.append(
            formats.words("Ready {times} if moved to {room}.", times=times, room=drum.warm_room)
        )
    if drum.ready_at is not None:
        words = "Ready {times} where it stands, {place}."
        times = formats.between(drum.ready_from, drum.ready_at)
        lines.append(formats.words(words, times=times, place=drum.place))
    elif drum.ready_from is not None:
        words = "Where it stands, {place}, not surely in four days; {times} at best."
        times = formats.earliest(drum.ready_from)
        lines.append(formats.words(words, times=times, place=drum.place))
    else:
        words = "Not within the coming days where it stands, {place}."
        lines.append(formats.words(words, place=drum.place))
    return tuple(lines)


def sentence(drum: DrumView, formats: Formats) -> str:
    """Return the drum figure in one sentence: its text equivalent.

    ``Iso K7Q-X4M, lot 2231, 61 °F at the bottom (57 to 62), too cold for 20 lb a minute and over
    until about 2 pm tomorrow if moved to Warm room 1.``
    """
    side = formats.words(SIDE[drum.side]).capitalize()
    parts = [f"{side} {drum.tag}", formats.words("lot {lot}", lot=drum.lot)]
    if drum.fill < _FULL:
        parts.append(formats.words("{share} full", share=formats.share(drum.fill)))
    parts.append(bottom_words(drum, formats))
    if drum.readiness == "on_hold" and drum.hold_reason:
        parts.append(formats.words("on hold: {reason}", reason=drum.hold_reason))
    elif drum.readiness == "on_hold":
        parts.append(formats.words("on hold"))
    elif drum.readiness == "unknown":
        parts.append(formats.words("not known whether it is ready"))
    else:
        parts.append(f"{_fit_for(drum, formats)} {until_words(drum, formats)}".strip())
    if drum.too_hot:
        parts.append(formats.words("to be left alone: over its maximum"))
    if drum.sweats:
        parts.append(formats.words("to be kept shut: it may sweat"))
    parts += [formats.words(CONDITION[name]) for name in drum.conditions if name != "clear"]
    if drum.warming:
        parts.append(formats.words("warming"))
    return ", ".join(parts) + "."


def group_sentence(group: GroupView, formats: Formats) -> str:
    """Return the figure of a group in one sentence: the drums together, then the drawn one."""
    say = formats.tongue.say
    return formats.words(
        "{drums} of lot {lot}: {tally}. Drawn: {drawn}",
        drums=say(drums_words(group.size, group.side)),
        lot=group.lot,
        tally=say(tally(group.by_readiness)),
        drawn=sentence(group.gravest, formats),
    )


def group_state(group: GroupView, formats: Formats) -> str:
    """Return the readiness of a group, with the time of its first drum if none is ready yet."""
    if len(group.by_readiness) > 1:
        return formats.tongue.say(tally(group.by_readiness))
    ((state, _),) = group.by_readiness
    words = _until(*group.soonest, formats) if group.soonest and state in _WAITING else ""
    return f"{formats.words(READINESS[state])} {words}".strip()


def marks(group: GroupView, formats: Formats) -> tuple[str, ...]:
    """Return the conditions of a group's drums with their number: ``2 solids suspected``."""
    if group.size == 1:
        return tuple(formats.words(words) for words, _ in group.marks)
    return tuple(f"{number} {formats.words(words)}" for words, number in group.marks)


def drum_marks(drum: DrumView) -> tuple[str, ...]:
    """Return the conditions of a drum in words, and whether it must stay shut."""
    return marks_of(drum.conditions, answer=drum.answer, too_hot=drum.too_hot)


def marks_of(conditions: Sequence[str], *, answer: Phrase, too_hot: bool) -> tuple[str, ...]:
    """Return conditions in words, and whether what has them must stay shut."""
    words = [CONDITION[name] for name in conditions if name != "clear"]
    if too_hot:
        words.append("over its maximum, keep away")
    keep_shut = sweats(conditions, answer=answer, too_hot=too_hot)
    return (*words, "keep shut, it may sweat") if keep_shut else tuple(words)


def verdict_lines(phrase: str) -> tuple[str, ...]:
    """Return the phrase broken so that each line fits a narrow phone at full size."""
    return tuple(phrase.rsplit(" ", 1)) if len(phrase) > _WIDEST else (phrase,)


def verdict_time(view: VerdictView, formats: Formats) -> str:
    """Return the one time of the verdict page in words; empty when there is none."""
    if view.time is None:
        return ""
    time = formats.about(view.time)
    if view.where:
        return formats.words("Ready {time} if moved to {where}", time=time, where=view.where)
    return formats.words("Ready {time}", time=time)


def computed_words(drum: DrumView, formats: Formats) -> str:
    """Return when a drum was computed and how old the readings are that it rests on."""
    clock = formats.words("never")
    if drum.computed_at is not None:
        clock = formats.clock(drum.computed_at)
    if drum.supported_to is None:
        return formats.words("Computed {clock}, no readings.", clock=clock)
    age = formats.duration(max(formats.now - drum.supported_to, timedelta(0)))
    if not age:
        return formats.words("Computed {clock}, readings just now.", clock=clock)
    return formats.words("Computed {clock}, readings {age} old.", clock=clock, age=age)


def kept_words(drum: DrumView, formats: Formats) -> str:
    """Return the same for a copy that a phone keeps: no age, which would not grow."""
    if drum.computed_at is None or drum.supported_to is None:
        return computed_words(drum, formats)
    return formats.words(
        "Computed {clock}, readings up to {when}.",
        clock=formats.clock(drum.computed_at),
        when=formats.when(drum.supported_to),
    )


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
