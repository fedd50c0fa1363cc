"""What happened to a drum, in a sentence each; and what may be recorded now."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final
from uuid import UUID, uuid4

from drumkeep.domain.drums import DrumFacts
from drumkeep.domain.events import EventKind
from drumkeep.domain.heaters import Device, device_of, understood
from drumkeep.domain.liquid_measured import Use
from drumkeep.domain.roles import Role, event_action, may
from drumkeep.storage.tables.drums import Event
from drumkeep.storage.tables.measurements import Measurement
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import ActionView, EventView
from drumkeep.web.wording import output_words

_OFFERED: Final = (
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
    EventKind.WANTED,
    EventKind.SKIN,
    EventKind.HELD,
    EventKind.RELEASED,
    EventKind.EMPTIED,
)


def event_views(
    events: Sequence[Event],
    *,
    places: Mapping[int, str],
    formats: Formats,
    met: Mapping[UUID, Measurement] | None = None,
) -> tuple[EventView, ...]:
    """Return a drum's log, newest first.

    Parameters
    ----------
    events
        As recorded.
    places
        Names of places by id.
    formats
        The reader's.
    met
        What the computation made of measurements, by the event's id.
    """
    made = met or {}
    views = [
        EventView(
            at=event.at,
            recorded_at=event.recorded_at,
            by=event.by,
            kind=event.kind,
            words=_words(event, places=places, formats=formats),
            met=met_words(made[event.id], formats=formats) if event.id in made else "",
            refused=event.id in made and made[event.id].use == Use.REFUSED,
        )
        for event in events
    ]
    return tuple(sorted(views, key=lambda view: (view.at, view.recorded_at), reverse=True))


def _words(event: Event, *, places: Mapping[int, str], formats: Formats) -> str:  # noqa: C901, PLR0911, PLR0912 - one arm a kind
    data = event.data
    note = f" ({event.note})" if event.note else ""
    match EventKind(event.kind):
        case EventKind.RECEIVED:
            origin = data.get("from")
            came = f" from {places.get(origin, 'elsewhere')}" if origin is not None else ""
            warm = data.get("liquid_c")
            at = f", liquid at {formats.temp(warm)}" if warm is not None else ", not dipped"
            return f"Received in {places.get(data['place'], '?')}{came}{at}.{note}"
        case EventKind.MOVED:
            return f"Moved to {places.get(data['to'], '?')}.{note}"
        case EventKind.DIPPED | EventKind.SKIN:
            what = "Dipped" if event.kind == EventKind.DIPPED else "Skin"
            height = data.get("height_m")
            where = "" if height is None else f", {formats.length(height)} above the bottom"
            return f"{what}: {formats.temp(data['c'])}{where}.{note}"
        case EventKind.WEIGHED:
            return f"Weighed: {formats.mass(data['net_kg'])} of liquid.{note}"
        case EventKind.TOPPED:
            return f"Topped up with {formats.mass(data['kg'])} from {data['from']}.{note}"
        case EventKind.DECANTED:
            return f"Decanted {formats.mass(data['kg'])} into {data['to']}.{note}"
        case EventKind.AGITATED:
            return f"Mixed for {data['minutes']:g} minutes.{note}"
        case EventKind.BLANKETED:
            kept = ", regulator connected" if data.get("regulator") else ""
            return f"{data['gas']} on top, {formats.pressure(data['kpa'])}{kept}.{note}"
        case EventKind.HEATED:
            return f"{_heated_words(data, formats=formats)}.{note}"
        case EventKind.HELD:
            return f"Put on hold: {data['reason']}.{note}"
        case EventKind.RELEASED:
            return f"Released: {data['reason']}.{note}"
        case EventKind.WANTED:
            return _wanted_words(data, formats=formats) + note
        case EventKind.INSPECTED:
            return f"Looked: {_look_words(data)}.{note}"
        case EventKind.CORRECTED:
            done = "withdrawn" if data.get("void") else "corrected"
            return f"An earlier record was {done}.{note}"
        case kind:
            return f"{kind.value.capitalize()}.{note}"


def met_words(met: Measurement, *, formats: Formats) -> str:
    """Say what the computation made of a measurement."""
    of = "the wall" if met.on_wall else "the liquid"
    measured = formats.to_tenths(met.measured_c)
    if met.computed_c is None or met.after_c is None:
        return f"Nothing was known of it before; {of} is taken as it was measured."
    computed, after = formats.to_tenths(met.computed_c), formats.to_tenths(met.after_c)
    match Use(met.use):
        case Use.REFUSED:
            return (
                f"Measured {measured} where {computed} was computed: too far off, not used. "
                "Measure again, at another spot; if both agree, they are believed."
            )
        case Use.CONFIRMED:
            return (
                f"Computed {computed}, measured {measured} like the one before: what was computed "
                f"was wrong. Now {after}."
            )
        case Use.USED | Use.BEGAN:
            return f"Computed {computed}, measured {measured}, now {after}."


def _heated_words(data: Mapping[str, Any], *, formats: Formats) -> str:
    until = formats.when(datetime.fromisoformat(data["until"]))
    device = str(data["device"])
    if device_of(device) is Device.OTHER and device != "other":
        device += f" (taken as {understood(device)})"
    if data["watts"] == 0.0:
        return f"Wrapped in {device} until {until}"
    height, thermostat = data.get("height_m"), data.get("thermostat_c")
    where = "" if height is None else f", {formats.length(height)} above the bottom"
    held = "no thermostat" if thermostat is None else f"thermostat {formats.temp(thermostat)}"
    return f"Heated by {device}{where}, {data['watts']:g} W, {held}, until {until}"


def _wanted_words(data: Mapping[str, Any], *, formats: Formats) -> str:
    if data.get("wanted_at") is None:
        return "No longer wanted."
    when = formats.when(datetime.fromisoformat(data["wanted_at"]))
    output = data.get("output")
    rate = f" for {output_words(output, formats)}" if output else ""
    return f"Wanted ready {when}{rate}."


def _look_words(data: Mapping[str, Any]) -> str:
    parts = []
    if "reached_bottom" in data:
        parts.append("bottom reached" if data["reached_bottom"] else "bottom not reached")
    parts += [
        f"{name} seen" if data[name] == "seen" else f"no {name}"
        for name in ("solids", "skin", "bulge")
        if name in data
    ]
    if "ring" in data:
        parts.append({"red": "red ring", "double": "double ring"}.get(data["ring"], "no ring"))
    return ", ".join(parts) or "nothing noted"


def action_views(
    facts: DrumFacts,
    *,
    overpressure: bool,
    agent_loss: bool,
    role: Role,
    choices: Sequence[tuple[str, str]],
) -> tuple[ActionView, ...]:
    """Return the forms that make sense for a drum and a person now.

    Parameters
    ----------
    facts
        What is true of the drum by what people recorded.
    overpressure
        Whether its computed pressure is over the limit.
    agent_loss
        Whether it is held for the blowing agent that it lost: a manager may release it.
    role
        The person's.
    choices
        Places it may go to, as reference and words.
    """
    if facts.ended is not None:
        return ()
    return tuple(
        ActionView(
            kind=kind.value,
            event_id=str(uuid4()),
            blocked=_blocked(kind, facts=facts, overpressure=overpressure),
            choices=tuple(choices) if kind is EventKind.MOVED else (),
        )
        for kind in _OFFERED
        if may(role, event_action(kind)) and _makes_sense(kind, facts=facts, agent_loss=agent_loss)
    )


def _makes_sense(kind: EventKind, *, facts: DrumFacts, agent_loss: bool) -> bool:
    match kind:
        case EventKind.OPENED | EventKind.VENTED:
            return not facts.open
        case EventKind.DECANTED:
            return facts.net_kg > 0.0
        case EventKind.RESEALED:
            return facts.open
        case EventKind.RELEASED:
            return facts.hold is not None or facts.bulged or agent_loss
        case EventKind.HELD:
            return facts.hold is None
        case _:
            return True


def _blocked(kind: EventKind, *, facts: DrumFacts, overpressure: bool) -> str | None:
    touches = kind not in (
        EventKind.INSPECTED,
        EventKind.WANTED,
        EventKind.HELD,
        EventKind.RELEASED,
        EventKind.SKIN,
    )
    if facts.bulged and touches:
        return "It was seen bulged. Step away and call the manager."
    if overpressure and touches:
        return "Its computed pressure is over the limit. Let it cool where it stands."
    if kind is EventKind.RELEASED and facts.bulged and not facts.bulge_gone:
        return "Record a look that finds no bulge first."
    return None
