"""A drum as its events make it, and which events make sense after which.

``fold`` is the one place that says whether a past holds together: recording an event, correcting
one and importing a list all ask it.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any, Final

from drumkeep.domain.events import ENDING, DrumEvent, EventKind
from drumkeep.domain.heaters import Heater, check_device, check_heater, heater_of
from drumkeep.domain.products import OutputClass, Product
from drumkeep.domain.un_mark import UnMark, parse
from drumkeep.errors import Conflict, Fault, Invalid
from drumkeep.thermal.constants import DRUM_BRIM_M3
from drumkeep.thermal.geometry import CROSS_SECTION_M2

CLOCK_LEEWAY: Final = timedelta(minutes=2)
"""A phone's clock may run ahead of ours by this much."""

OLDEST_RECORD: Final = timedelta(days=90)
"""As far back as readings are taken; before that nothing could be computed."""

OLDEST_LIQUID: Final = timedelta(days=3650)

HEIGHT_LEEWAY_M: Final = 0.03


@dataclass(frozen=True)
class Stay:
    """A drum in a place, from and until; ``until`` None where it still is."""

    place: int
    since: datetime
    until: datetime | None = None


@dataclass(frozen=True)
class Hold:
    """A drum put aside by a person."""

    reason: str
    since: datetime
    by: int | None


@dataclass(frozen=True)
class Recheck:
    """A drum to be looked at again: the ratio pulsed at the gun that drew from it.

    ``other`` is the tag of the other drum of the set; None where nobody said.
    """

    since: datetime
    other: str | None = None


@dataclass(frozen=True)
class DrumFacts:
    """What is true of a drum now, by what people recorded.

    ``agitations`` are the times and minutes of all of them, in order; ``poured_in`` the tags of
    the drums that liquid came from, and when. ``weighed_to_kg`` is what the scale of the last
    weighing reads to; None where it was not told, or liquid went in or out since.
    """

    received_at: datetime
    place: int
    net_kg: float
    stays: tuple[Stay, ...]
    weighed_to_kg: float | None = None
    recheck: Recheck | None = None
    origin: int | None = None
    un_mark: UnMark | None = None
    ended: EventKind | None = None
    ended_at: datetime | None = None
    hold: Hold | None = None
    bulged: bool = False
    bulge_gone: bool = False
    wanted_at: datetime | None = None
    wanted_output: OutputClass | None = None
    agitations: tuple[tuple[datetime, float], ...] = ()
    opened_at: datetime | None = None
    open: bool = False
    open_since: datetime | None = None
    poured_in: tuple[tuple[str, datetime], ...] = ()
    looked_at: datetime | None = None
    heater: Heater | None = None


@dataclass
class _Fold:
    product: Product
    facts: DrumFacts | None = None
    stays: list[Stay] = field(default_factory=list)


def fold(events: Sequence[DrumEvent], *, product: Product) -> DrumFacts:
    """Return what a list of effective events amounts to.

    Parameters
    ----------
    events
        Effective events in order (``domain.events.effective``).
    product
        Says what a drum of it can hold.

    Raises
    ------
    Conflict
        When an event makes no sense after those before it: a move before receipt, a second
        receipt, anything after the drum was emptied or disposed of.
    Invalid
        When its figures do not fit the drum: more liquid than a drum takes, a dip above it.
    """
    state = _Fold(product)
    for event in events:
        _take(state, event)
    if state.facts is None:
        raise Conflict("The drum has not been received.", [_fault_before_receipt(None)])
    return replace(state.facts, stays=tuple(state.stays))


def check_time(at: datetime, *, now: datetime, field: str = "at") -> None:
    """Refuse a time from the future or from before anything is on record."""
    if at > now + CLOCK_LEEWAY:
        mend = f"Give a time up to now, {now:%Y-%m-%dT%H:%M:%SZ}; check the phone's clock."
        raise Invalid("It has not happened yet.", [Fault(field, at.isoformat(), "is ahead", mend)])
    if at < now - OLDEST_RECORD:
        mend = f"Give a time within the last {OLDEST_RECORD.days} days."
        raise Invalid("It is too long ago.", [Fault(field, at.isoformat(), "is too old", mend)])


def most_kg(product: Product) -> float:
    """Mass of liquid that fills a drum to the brim, kg."""
    return DRUM_BRIM_M3 * product.properties.density_kg_m3


def depth_m(net_kg: float, *, product: Product) -> float:
    """Depth of liquid in an upright drum, m."""
    return net_kg / (product.properties.density_kg_m3 * CROSS_SECTION_M2)


def _fault_before_receipt(event: DrumEvent | None) -> Fault:
    value = event.at.isoformat() if event is not None else None
    return Fault("at", value, "is before the drum was received", "Record its receipt first.")


def _take(state: _Fold, event: DrumEvent) -> None:
    facts = state.facts
    if event.kind is EventKind.RECEIVED:
        if facts is not None:
            value = event.at.isoformat()
            mend = f"It was received at {facts.received_at.isoformat()}; correct that event."
            raise Conflict(
                "The drum is here already.", [Fault("kind", "received", f"again at {value}", mend)]
            )
        state.facts = _receive(state, event)
        return
    if facts is None:
        raise Conflict("The drum was not here yet.", [_fault_before_receipt(event)])
    if facts.ended is not None:
        mend = "If that was a mistake, a manager corrects it."
        problem = (
            f"comes after the drum was {facts.ended.value} at {facts.ended_at:%Y-%m-%d %H:%M}Z"
        )
        raise Conflict("The drum is gone.", [Fault("kind", event.kind.value, problem, mend)])
    state.facts = _after(state, facts, event)


def _receive(state: _Fold, event: DrumEvent) -> DrumFacts:
    data = event.data
    net_kg = data.get("net_kg")
    net_kg = state.product.properties.net_kg if net_kg is None else float(net_kg)
    check_mass(net_kg, product=state.product, name="net_kg")
    _check_made(event)
    place = int(data["place"])
    state.stays.append(Stay(place=place, since=event.at))
    origin = data.get("from")
    mark = data.get("un_mark")
    return DrumFacts(
        received_at=event.at,
        place=place,
        net_kg=net_kg,
        stays=(),
        origin=None if origin is None else int(origin),
        un_mark=None if mark is None else parse(str(mark)),
    )


def _after(state: _Fold, facts: DrumFacts, event: DrumEvent) -> DrumFacts:  # noqa: C901, PLR0911, PLR0912 - one arm a kind
    data, product = event.data, state.product
    match event.kind:
        case EventKind.MOVED:
            return _move(state, facts, event)
        case EventKind.WEIGHED:
            check_mass(float(data["net_kg"]), product=product, name="net_kg")
            reads_to = data.get("resolution_kg")
            return replace(
                facts,
                net_kg=float(data["net_kg"]),
                weighed_to_kg=None if reads_to is None else float(reads_to),
            )
        case EventKind.TOPPED:
            return _top(facts, event, product=product)
        case EventKind.DECANTED:
            return replace(facts, net_kg=_decant(facts, data), weighed_to_kg=None)
        case EventKind.DIPPED | EventKind.SKIN:
            _check_height(facts, data, product=product)
            return _rechecked(facts, event)
        case EventKind.OPENED:
            since = facts.open_since or event.at
            first = facts.opened_at or event.at
            return replace(facts, opened_at=first, open=True, open_since=since)
        case EventKind.RESEALED | EventKind.VENTED:
            return replace(facts, open=False, open_since=None)
        case EventKind.BLANKETED:
            return replace(facts, open_since=None)
        case EventKind.AGITATED:
            ran = (event.at, float(data["minutes"]))
            return _rechecked(replace(facts, agitations=(*facts.agitations, ran)), event)
        case EventKind.HEATED:
            check_device(str(event.data["device"]))
            heater = heater_of(event)
            check_heater(heater, at=event.at, depth_m=depth_m(facts.net_kg, product=product))
            return replace(facts, heater=heater)
        case EventKind.HELD:
            hold = Hold(reason=str(data["reason"]), since=event.at, by=event.by)
            return replace(facts, hold=hold)
        case EventKind.RELEASED:
            return _release(facts)
        case EventKind.INSPECTED:
            return _rechecked(_inspect(facts, event), event)
        case EventKind.RATIO_OFF:
            other = data.get("with")
            return replace(facts, recheck=Recheck(since=event.at, other=other))
        case EventKind.WANTED:
            output = data.get("output")
            return replace(
                facts,
                wanted_at=_moment(data.get("wanted_at")),
                wanted_output=OutputClass(output) if output else None,
            )
        case kind if kind in ENDING:
            state.stays[-1] = replace(state.stays[-1], until=event.at)
            net_kg = 0.0 if kind is EventKind.EMPTIED else facts.net_kg
            return replace(facts, ended=kind, ended_at=event.at, net_kg=net_kg)
        case _:
            return facts


def _move(state: _Fold, facts: DrumFacts, event: DrumEvent) -> DrumFacts:
    place = int(event.data["to"])
    if place == facts.place:
        mend = "Look where it is now; somebody may have moved it already."
        raise Conflict(
            "The drum is there already.", [Fault("to", place, "is where the drum is", mend)]
        )
    if facts.bulged:
        mend = "Step away and call the manager; after a look with bulge none a manager releases it."
        raise Conflict(
            "Do not move a bulged drum.", [Fault("kind", "moved", "of a bulged drum", mend)]
        )
    state.stays[-1] = replace(state.stays[-1], until=event.at)
    state.stays.append(Stay(place=place, since=event.at))
    return replace(facts, place=place)


def _top(facts: DrumFacts, event: DrumEvent, *, product: Product) -> DrumFacts:
    """Take liquid of another drum; what should not have been mixed is held until somebody looks."""
    data = event.data
    added = float(data["kg"])
    check_mass(added, product=product, name="kg", there_kg=facts.net_kg)
    reasons = [f"mixed with {data['mixed_with']}"] if data.get("mixed_with") else []
    if data.get("was_held"):
        reasons.append(f"{data['from']}, poured into it, was on hold ({data['was_held']})")
    hold = facts.hold
    if reasons and hold is None:
        hold = Hold(reason="; ".join(reasons), since=event.at, by=event.by)
    source = ((str(data["from"]), event.at),) if "from" in data else ()
    return replace(
        facts,
        net_kg=facts.net_kg + added,
        weighed_to_kg=None,
        hold=hold,
        poured_in=(*facts.poured_in, *source),
    )


def _decant(facts: DrumFacts, data: Mapping[str, Any]) -> float:
    left = facts.net_kg - float(data["kg"])
    if left < 0.0:
        mend = f"Give at most {_tenths_down(facts.net_kg):.1f} kg, or weigh the drum first."
        problem = f"is more than the {facts.net_kg:.1f} kg in the drum"
        raise Conflict("There is not that much left.", [Fault("kg", data["kg"], problem, mend)])
    return left


def _release(facts: DrumFacts) -> DrumFacts:
    if facts.bulged and not facts.bulge_gone:
        mend = "Record a look with bulge none first, then release."
        raise Conflict(
            "A bulged drum stays held.",
            [Fault("kind", "released", "of a drum last seen bulged", mend)],
        )
    return replace(facts, hold=None, bulged=False, bulge_gone=False)


def _inspect(facts: DrumFacts, event: DrumEvent) -> DrumFacts:
    data = event.data
    bulge = data.get("bulge")
    bulged = facts.bulged or bulge not in (None, "none")
    gone = facts.bulge_gone if bulge is None else bulge == "none"
    hold = facts.hold
    if bulged and hold is None:
        hold = Hold(reason="bulged", since=event.at, by=event.by)
    return replace(facts, bulged=bulged, bulge_gone=gone, looked_at=event.at, hold=hold)


def _check_made(receipt: DrumEvent) -> None:
    """Refuse a day on a drum's label on which it cannot have been made."""
    text = receipt.data.get("made_on")
    if text is None:
        return
    latest = (receipt.at + timedelta(days=1)).date()  # somewhere it is tomorrow already
    if not latest - OLDEST_LIQUID <= date.fromisoformat(text) <= latest:
        problem = "is after the drum came, or more than ten years before"
        mend = "Give the day on its label, as 2026-01-31, or leave it out."
        raise Invalid("That is not when it was made.", [Fault("made_on", text, problem, mend)])


def check_mass(kg: float, *, product: Product, name: str, there_kg: float = 0.0) -> None:
    """Refuse more than goes into a drum that holds so much already."""
    most = most_kg(product) - there_kg
    if not 0.0 <= kg <= most:
        mend = f"Give 0 to {_tenths_down(most):.1f} kg."
        problem = f"makes {there_kg + kg:.1f} kg, which a drum does not hold"
        raise Invalid("That does not fit a drum.", [Fault(name, kg, problem, mend)])


def _tenths_down(kg: float) -> float:
    """Round down, so that whoever follows the mend is not refused again."""
    return math.floor(kg * 10.0) / 10.0


def _check_height(facts: DrumFacts, data: Mapping[str, Any], *, product: Product) -> None:
    height = data.get("height_m")
    depth = depth_m(facts.net_kg, product=product)
    if height is not None and height > depth + HEIGHT_LEEWAY_M:
        mend = f"Give the height above the bottom, 0 to {depth:.2f} m, or weigh the drum first."
        problem = f"is above the liquid, which stands {depth:.2f} m high"
        raise Invalid("That is above the liquid.", [Fault("height_m", height, problem, mend)])


def _rechecked(facts: DrumFacts, event: DrumEvent) -> DrumFacts:
    """Take a drum that was looked at, dipped or mixed off the list of those to be looked at."""
    return facts if event.kind is EventKind.SKIN else replace(facts, recheck=None)


def _moment(value: object) -> datetime | None:
    if value is None or isinstance(value, datetime):
        return value
    return datetime.fromisoformat(str(value))
