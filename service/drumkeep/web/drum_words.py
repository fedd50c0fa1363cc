"""What is said of a drum, or of a group of them: answers, sentences, times, marks."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.conditions import KEPT_OFF
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import DrumView, GroupView, Phrase, VerdictView, sweats
from drumkeep.web.wording import CONDITION, READINESS, SIDE, drums_words, output_words, tally

_FULL: Final = 0.95
_WIDEST: Final = 7
"""Letters of the verdict's phrase that fit a narrow phone beside each other at full size."""
_WAITING: Final = ("too_cold", "too_warm")

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
