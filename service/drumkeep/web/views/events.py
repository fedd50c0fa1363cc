"""What happened to a drum, in a sentence each; and what may be recorded now."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID, uuid4

from drumkeep.domain.event_checks import OFFERED, Standing, makes_sense, refusal, to_confirm
from drumkeep.domain.events import EventKind
from drumkeep.domain.heaters import Device, device_of, understood
from drumkeep.domain.liquid_measured import Use
from drumkeep.domain.roles import Role, event_action, may
from drumkeep.storage.tables.drums import Event
from drumkeep.storage.tables.measurements import Measurement
from drumkeep.web.formats import Formats
from drumkeep.web.view_models import EventView
from drumkeep.web.wording import output_words


@dataclass(frozen=True, slots=True, kw_only=True)
class ActionView:
    """A form that makes sense for this drum and person now.

    ``event_id`` is a fresh UUID, so that a form sent twice is recorded once. ``choices`` are the
    places a drum may be moved to, as code and words. ``cautions`` come on top of those that
    ``wording.cautions_for`` gives for the kind; ``blocked`` says why it must not be done now,
    ``sure`` what has to be ticked before. ``chosen`` is what the form holds already: a place where
    the drum stands, what the scale reads to, the tag of the other drum; ``hint`` a word beside it.
    """

    kind: str
    event_id: str
    cautions: tuple[str, ...] = ()
    blocked: str | None = None
    choices: tuple[tuple[str, str], ...] = ()
    sure: str | None = None
    chosen: str = ""
    hint: str = ""


@dataclass(frozen=True)
class Given:
    """What a form holds already: ``choices`` as value and words, which is chosen, and a hint."""

    choices: Sequence[tuple[str, str]] = ()
    chosen: str = ""
    hint: str = ""


NOTHING: Final = Given()


def event_views(
    events: Sequence[Event],
    *,
    places: Mapping[int, str],
    formats: Formats,
    met: Mapping[UUID, Measurement] | None = None,
    undoable: Collection[UUID] = (),
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
    undoable
        Ids of events that the reader may take back now.
    """
    made = met or {}
    by_id: dict[UUID | None, Event] = {event.id: event for event in events}
    withdrawn = {_target(event) for event in events if event.data.get("void")}
    views = [
        EventView(
            at=event.at,
            recorded_at=event.recorded_at,
            by=event.by,
            kind=event.kind,
            words=_words(event, by_id.get(_target(event)), places=places, formats=formats),
            met=met_words(made[event.id], formats=formats) if event.id in made else "",
            refused=event.id in made and made[event.id].use == Use.REFUSED,
            undo=str(event.id) if event.id in undoable else "",
            withdrawn=event.id in withdrawn,
        )
        for event in events
    ]
    return tuple(sorted(views, key=lambda view: (view.at, view.recorded_at), reverse=True))


def _target(event: Event) -> UUID | None:
    """Return the id of the event that a correction is about."""
    corrects = event.kind == EventKind.CORRECTED
    return UUID(str(event.data["event"])) if corrects else None


def _words(  # noqa: C901, PLR0911, PLR0912 - one arm a kind
    event: Event, target: Event | None, *, places: Mapping[int, str], formats: Formats
) -> str:
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
            return f"Weighed: {_weight_words(data, formats=formats)}.{note}"
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
        case EventKind.EMPTIED | EventKind.DISPOSED if data.get("reason"):
            end = "Emptied" if event.kind == EventKind.EMPTIED else "Disposed of"
            return f"{end}: {data['reason']}.{note}"
        case EventKind.WANTED:
            return _wanted_words(data, formats=formats) + note
        case EventKind.INSPECTED:
            return f"Looked: {_look_words(data)}.{note}"
        case EventKind.CORRECTED:
            done = "Taken back" if data.get("void") else "Put right"
            what = "" if target is None else _words(target, None, places=places, formats=formats)
            return f"{done}: {what}{note}" if what else f"{done}: an earlier record.{note}"
        case EventKind.RATIO_OFF:
            other = f", with {data['with']}" if data.get("with") else ""
            return f"The ratio pulsed at the gun{other}: to be looked at again.{note}"
        case EventKind.DISPOSED:
            return f"Disposed of.{note}"
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


def _weight_words(data: Mapping[str, Any], *, formats: Formats) -> str:
    """Say how much liquid was weighed, and what the scale reads to."""
    liquid = f"{formats.mass(data['net_kg'])} of liquid"
    reads_to = data.get("resolution_kg")
    return liquid if reads_to is None else f"{liquid}, by a scale to {formats.fine_mass(reads_to)}"


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
    drum: Standing, *, role: Role, given: Mapping[EventKind, Given] | None = None
) -> tuple[ActionView, ...]:
    """Return the forms that make sense for a drum and a person now.

    Parameters
    ----------
    drum
        As it stands.
    role
        The person's.
    given
        What forms hold already and offer, by kind.
    """
    if drum.facts.ended is not None:
        return ()
    filled = given or {}
    return tuple(
        ActionView(
            kind=kind.value,
            event_id=str(uuid4()),
            blocked=refusal(kind, drum),
            sure=to_confirm(kind, drum),
            choices=tuple(filled.get(kind, NOTHING).choices),
            chosen=filled.get(kind, NOTHING).chosen,
            hint=filled.get(kind, NOTHING).hint,
        )
        for kind in OFFERED
        if may(role, event_action(kind)) and makes_sense(kind, drum)
    )
