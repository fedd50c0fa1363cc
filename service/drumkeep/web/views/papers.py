"""What a drum's page shows of photos and of a claim on its supplier."""

from dataclasses import dataclass
from uuid import uuid4

from drumkeep.domain.roles import Action, Role, may
from drumkeep.operations.claims import offer_of
from drumkeep.storage import photos as rows
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx
from drumkeep.web.views.claims import finding_words
from drumkeep.web.views.photos import SHOWS_WORDS, PhotoView, photo_views


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


def papers_view(tx: Tx, *, drum: Drum, role: Role) -> PapersView:
    """Return what there is of photos and claims of a drum."""
    offer = offer_of(tx, drum=drum)
    return PapersView(
        photos=photo_views(tx, rows.of_drums(tx, drum_ids=[drum.id])),
        found=() if offer is None else finding_words(offer.findings),
        claim=None if offer is None else offer.claim_id,
        claim_key=str(uuid4()),
        others=() if offer is None else offer.others,
        may_claim=may(role, Action.RECORD),
    )
