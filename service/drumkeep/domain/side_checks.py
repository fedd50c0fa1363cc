"""May two drums be hooked up together: one A and one B of one system, both ready, of the lots used.

Isocyanate in the resin line, or resin in that of the isocyanate, reacts and sets solid in pumps,
hoses and gun (common practice, no source). So whatever is not known counts against it.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final

from drumkeep.domain.products import Side
from drumkeep.domain.readiness import Answer

CAUTION_CROSSOVER: Final = (
    "Isocyanate in the resin line, or resin in the iso line, sets solid and may burst hoses. If it "
    "has happened: stop, do not pump on, relieve nothing by guess, call the manager and the "
    "machine's supplier."
)
CAUTION_LOOK: Final = (
    "Look too: the ring, the letter and the label of each drum against the mark of its pump and "
    "hose. This checks records, not hoses."
)


class CheckAnswer(StrEnum):
    """What is answered, the gravest first."""

    DO_NOT = "do_not"
    NOT_READY = "not_ready"
    ASK = "ask"
    FIT = "fit"


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """A drum that was scanned.

    Attributes
    ----------
    tag, side, system, product, lot
        What it is; ``system`` None where nobody said.
    lot_id
        Its lot.
    answer, reason
        What its verdict page says now, and why.
    """

    tag: str
    side: Side
    system: str | None
    product: str
    lot: str
    lot_id: int
    answer: Answer
    reason: str

    @property
    def letter(self) -> str:
        """The letter of its side."""
        return "A" if self.side is Side.ISO else "B"


@dataclass(frozen=True, slots=True, kw_only=True)
class InUse:
    """What a pull list or a rig says of one side: lots by id with their codes, and its tags."""

    lots: dict[int, str]
    tags: Collection[str] = ()


@dataclass(frozen=True, slots=True)
class Told:
    """The answer, with every reason that led to it; sentences with marks."""

    answer: CheckAnswer
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckNow:
    """A check as it was answered, by what it was for.

    Attributes
    ----------
    at
        When.
    cause
        The rig for which it was, or else the person who asked, by a name that no other has.
    by, rig
        Who asked, and what the rig is called; None without one.
    site, place
        Ids; ``place`` None without a rig.
    answer, reason, tags
        What was told of which drums, the gravest reason.
    """

    at: datetime
    cause: str
    by: str
    rig: str | None
    site: int
    place: int | None
    answer: CheckAnswer
    reason: str
    tags: tuple[str, ...]


def check_sides(
    first: Checked,
    second: Checked,
    *,
    listed: dict[Side, InUse] | None = None,
    on_rig: dict[Side, InUse] | None = None,
) -> Told:
    """Say whether two drums may be hooked up together.

    Parameters
    ----------
    first, second
        The drums.
    listed
        What stands on the pull list from which they are, by side; None without a list.
    on_rig
        What stands on the rig already, by side; None without a rig.
    """
    found: list[tuple[CheckAnswer, str]] = [
        *_of_pair(first, second),
        *(fault for drum in (first, second) for fault in _of_readiness(drum)),
    ]
    for drum in (first, second):
        if listed is not None:
            found += _of_list(drum, listed.get(drum.side, InUse(lots={})))
        if on_rig is not None:
            found += _of_rig(drum, on_rig.get(drum.side, InUse(lots={})))
    order = list(CheckAnswer)
    found.sort(key=lambda one: order.index(one[0]))
    if found:
        return Told(found[0][0], tuple(words for _, words in found))
    fit = f"One A and one B of system {first.system}, both ready."
    return Told(CheckAnswer.FIT, (fit,))


def _of_pair(first: Checked, second: Checked) -> list[tuple[CheckAnswer, str]]:
    if first.tag == second.tag:
        return [(CheckAnswer.DO_NOT, f"That is one drum, {first.tag}, scanned twice.")]
    if first.side is second.side:
        words = f"Both are B, resin: {first.tag} and {second.tag}."
        if first.side is Side.ISO:
            words = f"Both are A, iso: {first.tag} and {second.tag}."
        return [(CheckAnswer.DO_NOT, words)]
    if first.system is None or second.system is None:
        unsaid = " and ".join(d.product for d in (first, second) if d.system is None)
        words = f"Nobody has said to which system {unsaid} belongs, so nobody knows that they fit."
        return [(CheckAnswer.ASK, words)]
    if first.system != second.system:
        words = (
            f"They are of different systems: {first.tag} of {first.system}, "
            f"{second.tag} of {second.system}."
        )
        return [(CheckAnswer.DO_NOT, words)]
    return []


def _of_readiness(drum: Checked) -> list[tuple[CheckAnswer, str]]:
    if drum.answer is Answer.READY:
        return []
    words = f"{drum.letter}, {drum.tag}: {drum.answer.value}. {drum.reason}".strip()
    return [(CheckAnswer.NOT_READY, words)]


def _of_list(drum: Checked, side: InUse) -> list[tuple[CheckAnswer, str]]:
    if drum.tag in side.tags:
        return []
    words = f"{drum.letter}, {drum.tag} is not on the pull list."
    return [(CheckAnswer.ASK, words), *_of_lots(drum, side, on_rig=False)]


def _of_rig(drum: Checked, side: InUse) -> list[tuple[CheckAnswer, str]]:
    return _of_lots(drum, side, on_rig=True)


def _of_lots(drum: Checked, side: InUse, *, on_rig: bool) -> list[tuple[CheckAnswer, str]]:
    if not side.lots or drum.lot_id in side.lots:
        return []
    others = ", ".join(sorted(side.lots.values()))
    words = f"{drum.letter}, {drum.tag} is of lot {drum.lot}; on the list is lot {others}."
    if on_rig:
        words = f"{drum.letter}, {drum.tag} is of lot {drum.lot}; on the rig is lot {others}."
    return [(CheckAnswer.ASK, words)]
