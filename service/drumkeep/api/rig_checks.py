"""``/rig-checks``: the weekly look at the parts of rigs."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Depends, Query

from drumkeep.api.paging import PageQuery, cursor_after
from drumkeep.api.schemas.rig_checks import RigCheckIn, RigCheckOut, RigOut, RigPartOut
from drumkeep.asgi.authentication import Caller
from drumkeep.asgi.dependencies import Now, ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import Line, PageOf
from drumkeep.asgi.happenings import by_caller
from drumkeep.domain.rig_checks import RigPart, due_at, state_of
from drumkeep.domain.roles import Action
from drumkeep.operations import rig_checks
from drumkeep.operations.places import place_named
from drumkeep.operations.rig_checks import Look
from drumkeep.storage import catalogue
from drumkeep.storage import rig_checks as rows
from drumkeep.storage.tables.rig_checks import RigCheck
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/rig-checks", tags=["rig checks"])
CheckerDep = Annotated[Caller, Depends(require(Action.KEEP_STOCK))]


class CheckQuery(PageQuery):
    """Of which rig."""

    place: Line | None = None


@router.get("")
def list_checks(tx: ReadingDep, query: Annotated[CheckQuery, Query()]) -> PageOf[RigCheckOut]:
    """List the looks at rigs, the latest first."""
    place_id = None if query.place is None else place_named(tx, reference=query.place).id
    found = rows.checks(tx, place_id=place_id, before=query.after or None, limit=query.limit + 1)
    shown = found[: query.limit]
    more = len(found) > query.limit
    return PageOf(
        items=_checks_out(tx, shown), next_cursor=cursor_after(shown[-1].seq) if more else None
    )


@router.get("/due")
def list_due(tx: ReadingDep, now: Now) -> PageOf[RigOut]:
    """List the rigs, and where each of their parts stands in its week."""
    return PageOf(
        items=[
            RigOut(
                place=rig.ref,
                name=rig.name,
                parts=[
                    RigPartOut(
                        part=part.value,
                        state=state_of(rig, part, now=now).value,
                        due_at=due_at(rig, part),
                        last_at=rig.last_at.get(part),
                    )
                    for part in RigPart
                ],
            )
            for rig in rig_checks.rigs_now(tx)
        ]
    )


@router.post("", status_code=201)
def check(tx: TransactionDep, body: RigCheckIn, caller: CheckerDep, now: Now) -> list[RigCheckOut]:
    """Record one round of looks at a rig."""
    made = rig_checks.record_checks(
        tx,
        place=body.place,
        looks=[Look(**look.model_dump()) for look in body.checks],
        form_id=body.id,
        at=body.at,
        by=by_caller(caller),
        now=now,
    )
    return _checks_out(tx, made)


def _checks_out(tx: Tx, found: Sequence[RigCheck]) -> list[RigCheckOut]:
    places = catalogue.place_references(tx, ids=[one.place_id for one in found])
    return [
        RigCheckOut(
            place=places[one.place_id],
            part=one.part,
            finding=one.finding,
            pressure_kpa=one.pressure_kpa,
            note=one.note,
            at=one.at,
            by=one.by,
        )
        for one in found
    ]
