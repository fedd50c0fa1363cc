"""What happens to two drums at once stands in the logs of both: a pour, a ratio that pulses."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID, uuid5

from drumkeep.domain.events import DrumEvent, EventKind
from drumkeep.operations import pours, ratio
from drumkeep.operations.pours import Twin, pour_of
from drumkeep.operations.ratio import corrected_pulsing, pulsing
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx


def twin_of(
    tx: Tx, *, drum: Drum, event: DrumEvent, target: DrumEvent | None
) -> tuple[DrumEvent, Twin | None]:
    """Return an event about to be recorded with what it looks up, and the other drum's event.

    Parameters
    ----------
    tx
        Any transaction.
    drum, event
        What is recorded of which drum.
    target
        The event that a correction is about, as it is believed; None for any other kind.

    Raises
    ------
    Invalid
        The other drum is not known, or does not go with this one.
    """
    if event.kind is EventKind.RATIO_OFF:
        return pulsing(tx, drum=drum, event=event)
    if target is not None and target.kind is EventKind.RATIO_OFF:
        return event, corrected_pulsing(tx, event=event, target=target)
    return pour_of(tx, drum=drum, event=event, target=target)


def twin_ids(event_id: UUID | None) -> set[UUID]:
    """Return the ids that the other drum's event, if there is one, may have."""
    if event_id is None:
        return set()
    return {uuid5(event_id, made) for made in (pours.TWIN, ratio.TWIN)}


def told_by(data: Mapping[str, Any]) -> str | None:
    """Return the id of the other drum's event by which one was made; None if it was recorded."""
    found = data.get("pour") or data.get("told_by")
    return None if found is None else str(found)
