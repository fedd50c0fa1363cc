"""Every word of the interface that is not in a template: states, answers, cautions, sentences.

The words are the trade's and the standards' own. Texts that carry a temperature, a mass or a time
take a ``Formats``, so that they read in the viewer's units.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Final

from drumkeep.web.formats import Formats
from drumkeep.web.view_models import GRAVITY, DrumView, GroupView, LimitView, Phrase

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
    "overpressure": "under pressure",
    "bulged": "bulged",
}

CONDITION_MEANS: Final[Mapping[str, str]] = {
    "seeding_risk": "The lowest liquid is cold enough for solids to start. Warming stops it.",
    "solids_suspected": "It was cold for long enough that solids may lie at the bottom. Warming "
    "alone does not clear it: probe the bottom and record what you find.",
    "redissolving": "Solids were seen. It clears after hours of heat with mixing, and then a clear "
    "look at the bottom.",
    "gassing": "Blowing agent is coming out of the liquid. Cool it before opening, or vent it "
    "slowly by the small bung.",
    "agent_loss_suspected": "More blowing agent may have left than the product allows.",
    "overpressure": "The computed pressure is too high. Do not open it and do not move it.",
    "bulged": "Somebody saw a bulge. Do not move it, do not open it, step away and call.",
}

BASIS: Final[Mapping[str, str]] = {
    "measured": "measured in the drum within the last 2 hours",
    "modelled": "computed from the air around it since the last measurement",
    "unsupported": "not supported by readings: take it as not known",
}

PLACE_KIND: Final[Mapping[str, str]] = {
    "warehouse": "warehouse",
    "warm_room": "warm room",
    "dock": "dock",
    "yard": "yard",
    "vehicle": "vehicle",
    "rig": "rig",
    "job_site": "job site",
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
    "weighed": ("Weigh", "Record the weight"),
    "wanted": ("Want it ready", "Record the time"),
    "held": ("Put on hold", "Put on hold"),
    "released": ("Release", "Release"),
}
"""What each form is called, and what its button says."""

DEFERS: Final = (
    "The safety data sheet, the supplier, local codes and licensed practice come before anything "
    "written here."
)

_SENSITISER: Final = (
    "Iso can sensitise for life: gloves, goggles and the breathing protection of its data sheet."
)
_HEAVY_KG: Final = 272.0
"""Mass of a heavy full drum with its steel (common practice, no source: 600 lb)."""
_FULL: Final = 0.95


def output_words(output_class: str, formats: Formats) -> str:
    """Return an output class in words: ``20 lb a minute and over``."""
    rate = "20 lb" if formats.units == "us" else "9.1 kg"
    return f"under {rate} a minute" if output_class == "under_20" else f"{rate} a minute and over"


def side_words(side: str) -> str:
    """Return letter and word of a side: ``A iso`` or ``B resin``."""
    return "A iso" if side == "iso" else "B resin"


def tally(counts: Mapping[str, int] | Iterable[tuple[str, int]]) -> str:
    """Return numbers of drums by readiness, the usable first: ``3 ready, 9 too cold``."""
    numbers = dict(counts)
    order = ("ready", *(name for name in GRAVITY if name != "ready"))
    said = [f"{numbers[n]} {READINESS[n]}" for n in order if n in READINESS and numbers.get(n)]
    return ", ".join(said) or "no drums"


def drums_words(count: int, side: str | None = None) -> str:
    """Return a number of drums: ``1 drum``, ``6 iso drums``."""
    noun = "drum" if count == 1 else "drums"
    return f"{count} {side} {noun}" if side else f"{count} {noun}"


def near(drum: DrumView) -> tuple[float, ...]:
    """Return the limits (°C) that a shown temperature of the drum must not round across."""
    return (*drum.use_band_c, *drum.storage_band_c, *(limit.c for limit in drum.limits))


def bottom_words(drum: DrumView, formats: Formats) -> str:
    """Return bottom and band: ``61 °F at the bottom (57 to 62)`` with an en dash."""
    if drum.bottom_c is None:
        return "temperature not known"
    limits = near(drum)
    words = f"{formats.temp(drum.bottom_c, against=limits)} at the bottom"
    if drum.low_c is not None and drum.high_c is not None:
        words += f" ({formats.span(drum.low_c, drum.high_c, against=limits)})"
    if drum.basis == "unsupported":
        words += ", not supported by readings"
    return words


def headline(drum: DrumView, formats: Formats) -> str:
    """Return the answer of the drum page in a few words."""
    if "bulged" in drum.conditions:
        return "Bulged: step away and call"
    if "overpressure" in drum.conditions:
        return "Under pressure: do not open or move"
    if drum.readiness == "on_hold":
        return "On hold"
    if drum.readiness == "unknown":
        return "Not known: do not use it yet"
    state = READINESS[drum.readiness].capitalize()
    return f"{state} for {output_words(drum.output_class, formats)}"


def until_words(drum: DrumView, formats: Formats) -> str:
    """Return until when a drum is too cold or too warm, soonest way first; empty if not known."""
    soonest = drum.soonest_ready_at
    if soonest is None or drum.readiness not in ("too_cold", "too_warm"):
        return ""
    words = f"until {formats.about(soonest)}"
    if soonest != drum.ready_at and drum.warm_room is not None:
        words += f" in {drum.warm_room}"
    return words


def ready_lines(drum: DrumView, formats: Formats) -> tuple[str, ...]:
    """Return when the drum will be ready: in the warm room and where it stands."""
    if drum.readiness not in ("too_cold", "too_warm"):
        return ()
    lines = []
    if drum.ready_in_warm_room_at is not None and drum.warm_room is not None:
        lines.append(f"Ready {formats.about(drum.ready_in_warm_room_at)} in {drum.warm_room}.")
    if drum.ready_at is not None:
        lines.append(f"Ready {formats.about(drum.ready_at)} where it stands, {drum.place}.")
    else:
        lines.append(f"Not within the coming days where it stands, {drum.place}.")
    if drum.never_ready_note:
        lines.append(drum.never_ready_note)
    return tuple(lines)


def sentence(drum: DrumView, formats: Formats) -> str:
    """Return the drum figure in one sentence: its text equivalent.

    ``Iso K7Q-X4M, lot 2231, 61 °F at the bottom (57 to 62), too cold for 20 lb a minute and over
    until about 2 pm tomorrow in Warm room 1.``
    """
    parts = [f"{drum.side.capitalize()} {drum.tag}", f"lot {drum.lot}"]
    if drum.fill < _FULL:
        parts.append(f"{formats.share(drum.fill)} full")
    parts.append(bottom_words(drum, formats))
    if drum.readiness == "on_hold":
        parts.append(f"on hold: {drum.hold_reason}" if drum.hold_reason else "on hold")
    elif drum.readiness == "unknown":
        parts.append("not known whether it is ready")
    else:
        ready = f"{READINESS[drum.readiness]} for {output_words(drum.output_class, formats)}"
        parts.append(f"{ready} {until_words(drum, formats)}".strip())
    parts += [CONDITION[name] for name in drum.conditions if name != "clear"]
    if drum.warming:
        parts.append("warming")
    return ", ".join(parts) + "."


def group_sentence(group: GroupView, formats: Formats) -> str:
    """Return the figure of a group in one sentence: the drums together, then the drawn one."""
    count = drums_words(group.size, group.side)
    return (
        f"{count} of lot {group.lot}: {tally(group.by_readiness)}. "
        f"Drawn: {sentence(group.gravest, formats)}"
    )


def group_state(group: GroupView, formats: Formats) -> str:
    """Return the readiness of a group, with the time of its first drum if none is ready yet."""
    if len(group.by_readiness) > 1:
        return tally(group.by_readiness)
    waiting = [(d.soonest_ready_at, d.tag, d) for d in group.drums if d.soonest_ready_at]
    until = until_words(min(waiting)[2], formats) if waiting else ""
    return f"{READINESS[group.by_readiness[0][0]]} {until}".strip()


def marks(group: GroupView) -> tuple[str, ...]:
    """Return the conditions of a group's drums with their number: ``2 solids suspected``."""
    counts: dict[str, int] = {}
    for drum in group.drums:
        for name in drum.conditions:
            if name != "clear":
                counts[name] = counts.get(name, 0) + 1
    if group.size == 1:
        return tuple(CONDITION[name] for name in counts)
    return tuple(f"{number} {CONDITION[name]}" for name, number in counts.items())


def verdict_lines(phrase: Phrase) -> tuple[str, ...]:
    """Return the phrase broken so that each line fits a narrow phone at full size."""
    broken: Mapping[str, tuple[str, ...]] = {
        "DO NOT OPEN": ("DO NOT", "OPEN"),
        "LOOK FIRST": ("LOOK", "FIRST"),
    }
    return broken.get(phrase, (phrase,))


def verdict_cautions(phrase: Phrase, drum: DrumView) -> tuple[str, ...]:
    """Return the cautions that fit the verdict page: one line, two where it may be opened."""
    if "bulged" in drum.conditions:
        return ("Keep others away from it.",)
    if phrase not in ("READY", "LOOK FIRST"):
        return ("Never heat a tight drum.",) if drum.readiness == "too_cold" else ()
    side = "Iso can sensitise for life: gloves, goggles, mask." if drum.side == "iso" else ""
    shut = tuple(line for line in drum.cautions if line.startswith("Keep it shut"))
    lines = (*shut, side, "Vent slowly by the small bung. Data sheet first.")
    return tuple(line for line in lines if line)[:2]


def verdict_time(phrase: Phrase, at: datetime | None, formats: Formats) -> str:
    """Return the one time of the verdict page in words; empty when there is none."""
    if at is None:
        return ""
    if phrase == "READY":
        return f"Ready until {formats.when(at)}"
    if phrase == "NOT YET":
        return f"Ready {formats.about(at)}"
    return f"Look again {formats.when(at)}"


def limit_words(limit: LimitView, formats: Formats) -> str:
    """Return a limit with its origin: ``use from 70 °F (data sheet)``."""
    return f"{limit.name} {formats.temp(limit.c)} ({limit.origin})"


def audience_words(audience: str) -> str:
    """Return whom a task or alarm is for: ``for manager and dispatcher``."""
    names = [name.strip() for name in audience.split(",") if name.strip()]
    return f"for {' and '.join(names)}" if names else ""


def cautions_for(kind: str, drum: DrumView, formats: Formats) -> tuple[str, ...]:
    """Return the cautions that stand beside a form.

    Parameters
    ----------
    kind
        The drum event that the form records, as in ``ACTION``.
    drum
        The drum as it is now; a bulged or pressurised one outranks every other caution.
    formats
        For masses and temperatures in the viewer's units.
    """
    handles = kind not in ("held", "released", "wanted")
    if handles and "bulged" in drum.conditions:
        return ("Bulged: do not move it, do not open it. Step away and call.",)
    if handles and "overpressure" in drum.conditions:
        return ("Under pressure: do not open it and do not move it. Let it cool first.",)
    lines: list[str] = []
    opens = kind in ("opened", "vented", "dipped", "agitated", "inspected")
    if opens:
        lines += _opening_cautions(drum)
    if kind == "agitated":
        lines.append("Keep the small bung vented while you mix.")
    if kind == "moved":
        heavy = formats.mass(_HEAVY_KG)
        lines.append(f"Up to {heavy} with its steel: drum truck, two people, fingers clear.")
        lines.append(
            "Before it goes where it is heated: relieve it under dry gas. Never heat it tight."
        )
    if kind == "resealed" and drum.side == "iso":
        lines.append("Close iso under dry gas: wet air skins it over and makes pressure.")
        lines.append("Nitrogen displaces air: not in a closed room.")
    if kind == "wanted":
        lines.append(_heating_caution(drum, formats))
    return tuple(lines)


def _opening_cautions(drum: DrumView) -> list[str]:
    lines = ["Vent slowly by the small bung first, face away."]
    if drum.side == "iso":
        lines.append(_SENSITISER)
        lines.append("Do not open it while it sweats: water makes gas in iso.")
    elif "gassing" in drum.conditions:
        lines.append("It is gassing: cool it first if you can.")
    return lines


def _heating_caution(drum: DrumView, formats: Formats) -> str:
    highest = next((x for x in drum.limits if "maximum" in x.name.lower()), None)
    if highest is None:
        return "Warm it slowly, relieved under dry gas. Never heat a tight drum."
    top = formats.temp(highest.c)
    return f"Warm it slowly, relieved under dry gas, never tight, never above {top}."
