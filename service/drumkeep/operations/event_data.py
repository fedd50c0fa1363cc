"""What the log keeps of an event as it was told: net of gross, times of wishes, no empty fields."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from drumkeep.domain.events import DrumEvent, EventKind
from drumkeep.errors import Fault, Invalid
from drumkeep.storage.tables.drums import Drum, Event


def places_named(log: Iterable[Event]) -> set[int]:
    """Return the ids of the places that events name, those taken back too."""
    return {
        int(event.data[name])
        for event in log
        for name in ("place", "from", "to")
        if isinstance(event.data.get(name), int)
    }


def kept_data(
    kind: EventKind,
    told: Mapping[str, Any],
    *,
    at: datetime,
    drum: Drum,
    target: DrumEvent | None,
) -> dict[str, Any]:
    """Return what the log keeps of an event of a drum.

    Parameters
    ----------
    kind, told, at
        The event as it was told: its kind's own fields, and its time.
    drum
        Of which.
    target
        The event that a correction is about; None for any other kind.

    Raises
    ------
    Invalid
        A gross weight is less than the empty drum's; a drum is its own other.
    """
    data = _without_none(told)
    match kind:
        case EventKind.WEIGHED:
            return _weighed(data, drum=drum)
        case EventKind.WANTED:
            return _wanted(data, at=at.isoformat())
        case EventKind.TOPPED | EventKind.DECANTED | EventKind.RATIO_OFF:
            _refuse_itself(data, drum=drum)
        case EventKind.CORRECTED if target is not None and not data.get("void"):
            return _corrected(data, drum=drum, kind=target.kind)
    return data


def _corrected(data: dict[str, Any], *, drum: Drum, kind: EventKind) -> dict[str, Any]:
    changes = data.get("data")
    if kind is EventKind.WEIGHED and changes:
        # the other of gross and net is taken back with it
        data["data"] = {"gross_kg": None, **_weighed(changes, drum=drum)}
    elif kind in (EventKind.TOPPED, EventKind.DECANTED) and changes:
        _refuse_itself(changes, drum=drum)
    elif kind is EventKind.WANTED:
        # a wish has no time of its own but the one for which it is
        data["data"] = _wanted(dict(changes or {}), at=data.pop("at", None))
    return data


def _wanted(data: dict[str, Any], *, at: str | None) -> dict[str, Any]:
    if data.pop("withdrawn", False):
        return {**data, "wanted_at": None}
    return data if at is None else {**data, "wanted_at": at}


def _refuse_itself(data: Mapping[str, Any], *, drum: Drum) -> None:
    for name in ("to", "from", "with"):
        if data.get(name) == drum.tag:
            mend = "Name the other drum."
            raise Invalid(
                "It takes two drums.",
                [Fault(name, drum.tag, "is this drum", mend)],
            )


def _weighed(data: Mapping[str, Any], *, drum: Drum) -> dict[str, Any]:
    """Take the drum itself off a gross weight."""
    if data.get("gross_kg") is None:
        return dict(data)
    gross = float(data["gross_kg"])
    if gross < drum.tare_kg:
        mend = f"Give at least the {drum.tare_kg:.1f} kg of the empty drum, or net_kg."
        raise Invalid(
            "That is less than the empty drum.",
            [Fault("gross_kg", gross, "is less than the drum's tare", mend)],
        )
    return {**data, "net_kg": round(gross - drum.tare_kg, 6)}


def _without_none(data: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in data.items() if value is not None}
