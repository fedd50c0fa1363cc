"""Claims on suppliers: offered by what was found, made in one go, and followed to their end."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from drumkeep.domain.claims import ClaimState, SupplierFinding, checksum, supplier_findings
from drumkeep.domain.events import DrumEvent, EventKind, effective
from drumkeep.domain.roles import Action, may
from drumkeep.errors import Conflict, Fault, Invalid, NotFound, Refused
from drumkeep.operations.claim_records import record_of
from drumkeep.operations.drums import By, drum_named, refuse_unless_may
from drumkeep.operations.trace import trace_drums
from drumkeep.storage import claims as rows
from drumkeep.storage import deliveries, drums, photos, traces
from drumkeep.storage.tables.claims import Claim, ClaimNote
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.transaction import Tx

MOST_DRUMS: Final = 40
"""Of one claim: ten pallets."""

LONGEST_NOTE: Final = 2000

_TITLE: Final = "The claim cannot be made."


@dataclass(frozen=True, slots=True)
class ClaimOffer:
    """What was found in a drum as it came, and the drums of its lot of which the same holds.

    ``claim_id`` is of the claim that it is in already; ``others`` are tags of drums in none.
    """

    findings: tuple[SupplierFinding, ...]
    claim_id: int | None
    others: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ClaimDraft:
    """A claim that is ready to be stored."""

    lot_id: int
    drum_ids: tuple[int, ...]
    photo_ids: tuple[int, ...]
    record: dict[str, Any]


def offer_of(tx: Tx, *, drum: Drum, log: Sequence[DrumEvent]) -> ClaimOffer | None:
    """Return the claim that may be made for a drum, or is; None where its supplier owes nothing."""
    findings = supplier_findings(effective(log))
    claim_id = rows.of_drums(tx, drum_ids=[drum.id]).get(drum.id)
    if not findings and claim_id is None:
        return None
    others: tuple[str, ...] = ()
    if claim_id is None:
        of_lot = [key for key in traces.drums_of_lot(tx, lot_id=drum.lot_id) if key != drum.id]
        taken = rows.of_drums(tx, drum_ids=of_lot)
        free = [key for key in of_lot if key not in taken]
        found = _findings(tx, free)
        tags = drums.tags_by_id(tx, ids=[key for key in free if found[key]][: MOST_DRUMS - 1])
        others = tuple(sorted(tags.values()))
    return ClaimOffer(tuple(findings), claim_id, others)


def draft_claim(tx: Tx, *, tags: Sequence[str], by: By, now: datetime) -> ClaimDraft:
    """Put together the record of a claim; nothing is stored, and it takes a moment.

    Raises
    ------
    Refused
        The role may not record.
    Invalid, Conflict
        No drum, too many, of several lots, one without a finding, or one that is in a claim.
    """
    refuse_unless_may(by, EventKind.INSPECTED)
    if not 1 <= len(tags) <= MOST_DRUMS:
        mend = f"Name 1 to {MOST_DRUMS} drums."
        fault = Fault("drums", len(tags), "is too few or too many", mend)
        raise Invalid(_TITLE, [fault])
    chosen = {
        drum.id: drum
        for i, tag in enumerate(tags)
        for drum in (drum_named(tx, reference=tag, field=f"drums.{i}"),)
    }
    lots = {drum.lot_id for drum in chosen.values()}
    if len(lots) > 1:
        mend = "Make a claim for each lot."
        fault = Fault("drums", ", ".join(tags), "are of several lots", mend)
        raise Invalid(_TITLE, [fault])
    _refuse_claimed(tx, chosen)
    findings = _findings(tx, list(chosen))
    bare = [drum.tag for key, drum in chosen.items() if not findings[key]]
    if bare:
        problem = "shows nothing that was found on arrival or at its first opening"
        mend = "Record the look first: solids, a skin or a bulge."
        raise Conflict(_TITLE, [Fault("drums", tag, problem, mend) for tag in bare])
    kept = photos.of_drums(tx, drum_ids=list(chosen))
    return ClaimDraft(
        lot_id=lots.pop(),
        drum_ids=tuple(chosen),
        photo_ids=tuple(photo.id for photo in kept),
        record=record_of(
            tx,
            trace_drums(tx, drum_ids=list(chosen), now=now),
            findings=findings,
            deliveries=deliveries.of_drums(tx, drum_ids=list(chosen)),
            photos=kept,
            by=by.name,
            now=now,
        ),
    )


def make_claim(tx: Tx, *, key: UUID, draft: ClaimDraft, by: By, now: datetime) -> Claim:
    """Store a claim; the same key again gives the claim that it made.

    Raises
    ------
    Conflict
        A drum is in another claim by now.
    """
    known = rows.by_key(tx, key=key)
    if known is not None:
        return known
    _refuse_claimed(tx, drums.drums_by_id(tx, ids=list(draft.drum_ids)))
    return rows.add(
        tx,
        claim=Claim(
            key=key,
            lot_id=draft.lot_id,
            at=now,
            account_id=by.account_id,
            by=by.name,
            record=draft.record,
            checksum=checksum(draft.record),
        ),
        drum_ids=draft.drum_ids,
        photo_ids=draft.photo_ids,
    )


def claim_made(tx: Tx, *, key: UUID) -> Claim | None:
    """Return the claim that was made under this key before."""
    return rows.by_key(tx, key=key)


def note_claim(
    tx: Tx, *, claim_id: int, key: UUID, state: str | None, text: str, by: By, now: datetime
) -> ClaimNote:
    """Say what became of a claim: a new state, words, or both; the same key again is one note.

    Raises
    ------
    NotFound
        There is no such claim.
    Refused
        The role may not record, or not say that it was sent or settled.
    Invalid
        It says nothing, or no state that there is.
    """
    refuse_unless_may(by, EventKind.INSPECTED)
    claim = claim_at(tx, claim_id=claim_id)
    known = rows.note_by_key(tx, key=key)
    if known is not None:
        return known
    said = text.strip()
    if state is None and not said:
        mend = "Choose a state, or write what happened."
        raise Invalid("That says nothing.", [Fault("text", None, "is empty", mend)])
    if state is not None and state not in set(ClaimState):
        mend = f"Give one of {', '.join(ClaimState)}."
        raise Invalid("That is no state of a claim.", [Fault("state", state, "is not known", mend)])
    if state is not None and not may(by.role, Action.SETTLE_CLAIMS):
        raise Refused(f"The role {by.role} may not {Action.SETTLE_CLAIMS}.")
    if len(said) > LONGEST_NOTE:
        mend = f"Write at most {LONGEST_NOTE} characters."
        raise Invalid("The note is too long.", [Fault("text", len(said), "characters", mend)])
    note = ClaimNote(
        key=key,
        claim_id=claim.id,
        at=now,
        account_id=by.account_id,
        by=by.name,
        state=state,
        text=said,
    )
    return rows.add_note(tx, note)


def claim_at(tx: Tx, *, claim_id: int) -> Claim:
    """Return a claim.

    Raises
    ------
    NotFound
        There is none of this number.
    """
    claim = rows.by_id(tx, claim_id=claim_id)
    if claim is None:
        mend = "Look for it in the list of claims."
        raise NotFound("There is no such claim.", [Fault("claim", claim_id, "is not known", mend)])
    return claim


def state_of(tx: Tx, *, claim_id: int) -> ClaimState:
    """Return what a claim was said to be last."""
    said = rows.states(tx, claim_ids=[claim_id])
    return ClaimState(said.get(claim_id, ClaimState.OPEN))


def _findings(tx: Tx, drum_ids: Sequence[int]) -> dict[int, list[SupplierFinding]]:
    logs = drums.events_of(tx, drum_ids=drum_ids)
    return {key: supplier_findings(effective(events)) for key, events in logs.items()}


def _refuse_claimed(tx: Tx, chosen: dict[int, Drum]) -> None:
    taken = rows.of_drums(tx, drum_ids=list(chosen))
    if taken:
        mend = "Add to that claim, as a note or a photo."
        raise Conflict(
            _TITLE,
            [
                Fault("drums", chosen[key].tag, f"is in claim {number} already", mend)
                for key, number in taken.items()
            ],
        )
