"""Check two drums before they are hooked up, and keep what was answered, whatever it was."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from drumkeep.domain.alarm_rules.sides import CHECKED_LATELY
from drumkeep.domain.products import OutputClass, Side
from drumkeep.domain.pulls import Hindrance
from drumkeep.domain.readiness import Answer
from drumkeep.domain.side_checks import CheckAnswer, Checked, CheckNow, InUse, check_sides
from drumkeep.errors import Conflict, Fault, NotFound
from drumkeep.operations.drums import By, drum_named
from drumkeep.operations.places import place_named
from drumkeep.operations.pull_outlook import Standing, standings
from drumkeep.operations.pulls import pull_at
from drumkeep.storage import pulls as pull_rows
from drumkeep.storage import side_checks as rows
from drumkeep.storage.catalogue import add
from drumkeep.storage.drums import StockRow, list_drums
from drumkeep.storage.ground import Sites
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.pulls import Pull
from drumkeep.storage.tables.side_checks import SideCheck
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Two drums by their tags; from which list they are and for which rig, where that is known."""

    client_id: UUID
    first: str
    second: str
    pull_id: int | None = None
    rig: str | None = None


def check_drums(tx: Tx, *, question: Question, by: By, now: datetime) -> SideCheck:
    """Say whether two drums may be hooked up together; the same id again is the same check.

    Raises
    ------
    Invalid
        It is no tag or no place, or there is no such drum.
    NotFound
        There is no such pull list.
    Conflict
        Other drums were checked under this id.
    """
    first, second = (
        drum_named(tx, reference=getattr(question, name), field=name)
        for name in ("first", "second")
    )
    known = rows.check_by_client(tx, client_id=question.client_id)
    if known is not None:
        return _same(known, question, first=first, second=second)
    pull = None if question.pull_id is None else pull_at(tx, pull_id=question.pull_id)
    place = None if question.rig is None else place_named(tx, reference=question.rig, field="rig")
    checked = [_checked(tx, drum, pull=pull, now=now) for drum in (first, second)]
    told = check_sides(
        *checked,
        listed=None if pull is None else _listed(tx, pull),
        on_rig=None
        if place is None
        else _in_use(tx, rows.present_in(tx, place_id=place.id), but=(first.id, second.id)),
    )
    return add(
        tx,
        SideCheck(
            client_id=question.client_id,
            at=now,
            first_id=first.id,
            second_id=second.id,
            pull_id=None if pull is None else pull.id,
            place_id=None if place is None else place.id,
            answer=told.answer.value,
            told={"reasons": list(told.reasons), "drums": [_kept(one) for one in checked]},
            account_id=by.account_id,
            by=by.name,
        ),
    )


def check_at(tx: Tx, *, check_id: int) -> SideCheck:
    """Return the check that an address names.

    Raises
    ------
    NotFound
        There is none.
    """
    check = rows.check_by_id(tx, check_id=check_id)
    if check is None:
        fault = Fault("id", check_id, "is not known", "Take an id from the list of checks.")
        raise NotFound("There is no such check.", [fault])
    return check


def checks_now(tx: Tx, *, sites: Sites = None, now: datetime) -> list[CheckNow]:
    """Return the checks of lately at sites that raise an alarm or end one, the oldest first."""
    told = (CheckAnswer.DO_NOT.value, CheckAnswer.FIT.value)
    return [
        CheckNow(
            at=check.at,
            cause=f"{site.code}/{place.code}"
            if check.place_id is not None
            else f"{site.code}, {check.by}",
            by=check.by,
            rig=None if check.place_id is None else place.name,
            site=site.id,
            place=check.place_id,
            answer=CheckAnswer(check.answer),
            reason=check.told["reasons"][0],
            tags=tuple(dict.fromkeys(drum["tag"] for drum in check.told["drums"])),
        )
        for check, place, site in rows.checks_since(
            tx, since=now - CHECKED_LATELY, answers=told, sites=sites
        )
    ]


def _same(known: SideCheck, question: Question, *, first: Drum, second: Drum) -> SideCheck:
    if {known.first_id, known.second_id} == {first.id, second.id}:
        return known
    mend = "Make a new UUID for each check."
    fault = Fault("id", str(question.client_id), "belongs to another check", mend)
    raise Conflict("Other drums were checked under this id.", [fault])


def _checked(tx: Tx, drum: Drum, *, pull: Pull | None, now: datetime) -> Checked:
    (row,) = list_drums(tx, among=[drum.id], present=False, limit=None)
    asked = row.drum.wanted_output or row.site.output_class if pull is None else pull.output
    output = OutputClass(asked)
    (standing,) = standings(tx, rows=[row], output=output, wanted_at=None, now=now)
    return Checked(
        tag=drum.tag,
        side=Side(row.product.side),
        system=row.product.system,
        product=row.product.name,
        lot=row.lot.code,
        lot_id=row.lot.id,
        answer=_answer(standing, row=row, output=output),
        reason=standing.reason,
    )


def _answer(standing: Standing, *, row: StockRow, output: OutputClass) -> Answer:
    if standing.hindrance is None:
        return Answer.READY
    gone = row.estimate is None or row.drum.ended is not None
    if gone or row.estimate is None or standing.hindrance is Hindrance.STALE:
        return Answer.ASK
    return Answer(row.estimate.verdicts[output.value]["answer"])


def _listed(tx: Tx, pull: Pull) -> dict[Side, InUse]:
    return _in_use(tx, [d.drum_id for d in pull_rows.drums_on(tx, pull_ids=[pull.id])])


def _in_use(tx: Tx, drum_ids: Sequence[int], *, but: Sequence[int] = ()) -> dict[Side, InUse]:
    """Return lots and tags of drums by side."""
    ids = [drum_id for drum_id in drum_ids if drum_id not in but]
    found = list_drums(tx, among=ids, present=False, limit=None) if ids else []
    by_side: dict[Side, InUse] = {}
    for side in Side:
        own = [row for row in found if row.product.side == side]
        by_side[side] = InUse(
            lots={row.lot.id: row.lot.code for row in own},
            tags=frozenset(row.drum.tag for row in own),
        )
    return by_side


def _kept(one: Checked) -> dict[str, Any]:
    return {
        "tag": one.tag,
        "side": one.side.value,
        "system": one.system,
        "product": one.product,
        "lot": one.lot,
        "answer": one.answer.value,
    }
