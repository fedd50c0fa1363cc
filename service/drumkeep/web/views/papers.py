"""What a drum's page shows of photos and of a claim on its supplier."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from uuid import uuid4

from drumkeep.domain.events import DrumEvent, EventKind
from drumkeep.domain.photos import Shows
from drumkeep.domain.roles import Action, Role, may
from drumkeep.operations.claims import offer_of
from drumkeep.storage import photos as rows
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx
from drumkeep.web.views.claims import finding_words
from drumkeep.web.views.photos import SHOWS_WORDS, PhotoView, photo_views

_FINDINGS: Final = (Shows.SOLIDS, Shows.SKIN, Shows.BULGE)
_LATELY: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class PapersView:
    """Photos, and what was ``found`` that its supplier answers for; ``others``: of its lot."""

    photos: tuple[PhotoView, ...] = ()
    shows: tuple[tuple[str, str], ...] = SHOWS_WORDS
    found: tuple[str, ...] = ()
    claim: int | None = None
    claim_key: str = ""
    others: tuple[str, ...] = ()
    may_claim: bool = False
    look: str = ""
    """The event of a look of the last day that found something; empty if there was none."""
    look_found: str = ""
    """What that look found first, as a photo says what it shows."""


def papers_view(
    tx: Tx, *, drum: Drum, log: Sequence[DrumEvent], role: Role, now: datetime
) -> PapersView:
    """Return what there is of photos and claims of a drum, with its log."""
    offer = offer_of(tx, drum=drum, log=log)
    looks = [event for event in log if event.kind == EventKind.INSPECTED and _found(event)]
    last = looks[-1] if looks and now - looks[-1].at < _LATELY else None
    return PapersView(
        photos=photo_views(tx, rows.of_drums(tx, drum_ids=[drum.id])),
        found=() if offer is None else finding_words(offer.findings),
        claim=None if offer is None else offer.claim_id,
        claim_key=str(uuid4()),
        others=() if offer is None else offer.others,
        may_claim=may(role, Action.RECORD),
        look="" if last is None else str(last.id),
        look_found="" if last is None else _found(last)[0].value,
    )


def _found(event: DrumEvent) -> list[Shows]:
    return [what for what in _FINDINGS if event.data.get(what.value) == "seen"]
