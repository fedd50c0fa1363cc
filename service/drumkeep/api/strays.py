"""``/strays``: sensors that were heard and are not registered.

To adopt one, make a sensor of its name (``POST /sensors``): what is kept of it becomes its own.
"""

from fastapi import APIRouter, Depends

from drumkeep.api.schemas.strays import StrayOut
from drumkeep.asgi.dependencies import ReadingDep, TransactionDep, require
from drumkeep.asgi.fields import RowId
from drumkeep.domain.grid import from_ms
from drumkeep.domain.roles import Action
from drumkeep.operations.strays import forget_stray
from drumkeep.storage import catalogue, strays

router = APIRouter(prefix="/strays", tags=["sensors"])


@router.get("")
def list_strays(tx: ReadingDep) -> list[StrayOut]:
    """List the sensors that are kept aside, the one heard last first; at most a thousand."""
    rows = strays.list_strays(tx)
    series = strays.series_of(tx, stray_ids=[row.id for row in rows])
    gateways = catalogue.gateway_references(tx, ids=[row.gateway_id for row in rows])
    answers = []
    for row in rows:
        kept = series.get(row.id)
        answers.append(
            StrayOut(
                id=row.id,
                name=row.name,
                quantity=row.quantity,
                gateway=gateways.get(row.gateway_id or 0),
                heard=row.heard,
                kept=0 if kept is None else kept.kept,
                first_heard_at=row.first_heard_at,
                last_heard_at=row.last_heard_at,
                first_at=None if kept is None else from_ms(kept.first_ms),
                last_at=None if kept is None else from_ms(kept.last_ms),
                last_value=None if kept is None else kept.last_value,
            )
        )
    return answers


@router.delete(
    "/{stray}", status_code=204, dependencies=[Depends(require(Action.CHANGE_CATALOGUE))]
)
def forget(tx: TransactionDep, stray: RowId) -> None:
    """Let one go, with what it said; if it is heard again it is kept again."""
    forget_stray(tx, stray_id=stray)
