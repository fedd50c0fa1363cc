"""What happens to two drums at once stands in the logs of both: a pour, a ratio that pulses."""

from drumkeep.domain.events import DrumEvent, EventKind
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
