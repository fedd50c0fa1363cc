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
from drumkeep.web.wording import HAPPENED, output_words


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


def _words(
    event: Event, target: Event | None, *, places: Mapping[int, str], formats: Formats
) -> str:
    if event.kind == EventKind.CORRECTED:
        said = _corrected_words(event, target, places=places, formats=formats)
    else:
        said = _deed_words(event, places=places, formats=formats)
    return f"{said} ({event.note})" if event.note else said


def _corrected_words(
    event: Event, target: Event | None, *, places: Mapping[int, str], formats: Formats
) -> str:
    void, words = event.data.get("void"), formats.words
    if target is None:
        return words("Taken back: an earlier record." if void else "Put right: an earlier record.")
    what = _words(target, None, places=places, formats=formats)
    return words("Taken back: {record}" if void else "Put right: {record}", record=what)


def _deed_words(  # noqa: C901, PLR0911, PLR0912 - one arm a kind
    event: Event, *, places: Mapping[int, str], formats: Formats
) -> str:
    data, words = event.data, formats.words
    match EventKind(event.kind):
        case EventKind.RECEIVED:
            return _received_words(data, places=places, formats=formats)
        case EventKind.MOVED:
            return words("Moved to {place}.", place=places.get(data["to"], "?"))
        case EventKind.DIPPED | EventKind.SKIN as kind:
            c, height = formats.temp(data["c"]), data.get("height_m")
            if height is None:
                alone = "Dipped: {temp}." if kind is EventKind.DIPPED else "Skin: {temp}."
                return words(alone, temp=c)
            at = "{what}: {temp}, {height} above the bottom."
            what = words("Dipped" if kind is EventKind.DIPPED else "Skin")
            return words(at, what=what, temp=c, height=formats.length(height))
        case EventKind.WEIGHED:
            return _weight_words(data, formats=formats)
        case EventKind.TOPPED:
            other, mass = data["from"], formats.mass(data["kg"])
            return words("Topped up with {mass} from {tag}.", mass=mass, tag=other)
        case EventKind.DECANTED:
            other, mass = data["to"], formats.mass(data["kg"])
            return words("Decanted {mass} into {tag}.", mass=mass, tag=other)
        case EventKind.AGITATED:
            return words("Mixed for {minutes} minutes.", minutes=f"{data['minutes']:g}")
        case EventKind.BLANKETED:
            kept = "{gas} on top, {pressure}, regulator connected."
            gas, pressure = formats.tongue.say(data["gas"]), formats.pressure(data["kpa"])
            sentence = kept if data.get("regulator") else "{gas} on top, {pressure}."
            return words(sentence, gas=gas, pressure=pressure)
        case EventKind.HEATED:
            return _heated_words(data, formats=formats)
        case EventKind.HELD:
            return words("Put on hold: {reason}.", reason=data["reason"])
        case EventKind.RELEASED:
            return words("Released: {reason}.", reason=data["reason"])
        case EventKind.EMPTIED if data.get("reason"):
            return words("Emptied: {reason}.", reason=data["reason"])
        case EventKind.DISPOSED if data.get("reason"):
            return words("Disposed of: {reason}.", reason=data["reason"])
        case EventKind.WANTED:
            return _wanted_words(data, formats=formats)
        case EventKind.INSPECTED:
            return words("Looked: {found}.", found=_look_words(data, formats=formats))
        case EventKind.RATIO_OFF if data.get("with"):
            with_other = "The ratio pulsed at the gun, with {tag}: to be looked at again."
            return words(with_other, tag=data["with"])
        case EventKind.RATIO_OFF:
            return words("The ratio pulsed at the gun: to be looked at again.")
        case EventKind.DISPOSED:
            return words("Disposed of.")
        case kind:
            return f"{words(HAPPENED[kind]).capitalize()}."


def _received_words(data: Mapping[str, Any], *, places: Mapping[int, str], formats: Formats) -> str:
    words, origin, warm = formats.words, data.get("from"), data.get("liquid_c")
    place = places.get(data["place"], "?")
    temp = "" if warm is None else formats.temp(warm)
    if origin is None and not temp:
        return words("Received in {place}, not dipped.", place=place)
    if origin is None:
        return words("Received in {place}, liquid at {temp}.", place=place, temp=temp)
    start = places.get(origin, words("elsewhere"))
    if not temp:
        return words("Received in {place} from {origin}, not dipped.", place=place, origin=start)
    dipped = "Received in {place} from {origin}, liquid at {temp}."
    return words(dipped, place=place, origin=start, temp=temp)


def met_words(met: Measurement, *, formats: Formats) -> str:
    """Say what the computation made of a measurement."""
    words, measured = formats.words, formats.to_tenths(met.measured_c)
    if met.computed_c is None or met.after_c is None:
        if met.on_wall:
            return words("Nothing was known of it before; the wall is taken as it was measured.")
        return words("Nothing was known of it before; the liquid is taken as it was measured.")
    computed, after = formats.to_tenths(met.computed_c), formats.to_tenths(met.after_c)
    match Use(met.use):
        case Use.REFUSED:
            sentence = (
                "Measured {measured} where {computed} was computed: too far off, not used. "
                "Measure again, at another spot; if both agree, they are believed."
            )
        case Use.CONFIRMED:
            sentence = (
                "Computed {computed}, measured {measured} like the one before: what was computed "
                "was wrong. Now {after}."
            )
        case Use.USED | Use.BEGAN:
            sentence = "Computed {computed}, measured {measured}, now {after}."
    return words(sentence, computed=computed, measured=measured, after=after)


def _weight_words(data: Mapping[str, Any], *, formats: Formats) -> str:
    """Say how much liquid was weighed, and what the scale reads to."""
    mass, reads_to = formats.mass(data["net_kg"]), data.get("resolution_kg")
    if reads_to is None:
        return formats.words("Weighed: {mass} of liquid.", mass=mass)
    by_scale = "Weighed: {mass} of liquid, by a scale to {step}."
    return formats.words(by_scale, mass=mass, step=formats.fine_mass(reads_to))


def _heated_words(data: Mapping[str, Any], *, formats: Formats) -> str:
    words, until = formats.words, formats.when(datetime.fromisoformat(data["until"]))
    written = str(data["device"])
    device = formats.tongue.say(written)
    if device_of(written) is Device.OTHER and written != "other":
        taken = formats.tongue.say(understood(written))
        device = words("{device} (taken as {taken})", device=written, taken=taken)
    if data["watts"] == 0.0:
        return words("Wrapped in {device} until {until}.", device=device, until=until)
    height, thermostat = data.get("height_m"), data.get("thermostat_c")
    if height is not None:
        up = formats.length(height)
        device = words("{device}, {height} above the bottom", device=device, height=up)
    held = words("no thermostat")
    if thermostat is not None:
        held = words("thermostat {temp}", temp=formats.temp(thermostat))
    return words(
        "Heated by {device}, {watts} W, {thermostat}, until {until}.",
        device=device,
        watts=f"{data['watts']:g}",
        thermostat=held,
        until=until,
    )


def _wanted_words(data: Mapping[str, Any], *, formats: Formats) -> str:
    if data.get("wanted_at") is None:
        return formats.words("No longer wanted.")
    when = formats.when(datetime.fromisoformat(data["wanted_at"]))
    output = data.get("output")
    if not output:
        return formats.words("Wanted ready {time}.", time=when)
    rate = output_words(output, formats)
    return formats.words("Wanted ready {time} for {output}.", time=when, output=rate)


_FOUND: Final[Mapping[str, Mapping[str, str]]] = {
    "solids": {"seen": "solids seen", "none": "no solids"},
    "skin": {"seen": "skin seen", "none": "no skin"},
    "bulge": {"seen": "bulge seen", "none": "no bulge"},
    "ring": {"red": "red ring", "double": "double ring", "none": "no ring"},
}


def _look_words(data: Mapping[str, Any], *, formats: Formats) -> str:
    parts = []
    if "reached_bottom" in data:
        parts.append("bottom reached" if data["reached_bottom"] else "bottom not reached")
    parts += [said.get(data[name], said["none"]) for name, said in _FOUND.items() if name in data]
    return ", ".join(map(formats.words, parts)) or formats.words("nothing noted")


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
