"""``/sparkplug``: which Sparkplug groups are read, and on whose account."""

from collections.abc import Sequence

from fastapi import APIRouter, Depends, Request, Response

from drumkeep.api.addresses import located
from drumkeep.api.mappings import trial_out
from drumkeep.api.schemas.mappings import TrialOut
from drumkeep.api.schemas.sparkplug import GroupIn, GroupOut, GroupTrialIn, NodeOut, UnitOut
from drumkeep.asgi.broker import tell_once_stored
from drumkeep.asgi.dependencies import (
    CurrentAccount,
    Now,
    ReadingDep,
    TransactionDep,
    require,
    services,
)
from drumkeep.asgi.fields import RowId
from drumkeep.domain.roles import Action
from drumkeep.operations import sparkplug_groups
from drumkeep.operations.sparkplug_groups import KnownGroup
from drumkeep.operations.sparkplug_trial import octets_of, try_sample
from drumkeep.storage import sparkplug
from drumkeep.storage.transaction import Tx

router = APIRouter(prefix="/sparkplug", tags=["gateways"])
_CHANGE = [Depends(require(Action.CHANGE_CATALOGUE))]


@router.get("")
def list_groups(tx: ReadingDep) -> list[GroupOut]:
    """List every group that is read, with its edge nodes."""
    return _out(tx, sparkplug_groups.known_groups(tx))


@router.post("", status_code=201, dependencies=_CHANGE)
def create_group(
    request: Request, tx: TransactionDep, body: GroupIn, response: Response
) -> GroupOut:
    """Have a group read, or one edge node of it; ingest does so within seconds."""
    made = sparkplug_groups.create_group(
        tx,
        group=body.group,
        node=body.node,
        gateway=body.gateway,
        units=body.pairs(),
        asks=body.asks,
    )
    tell_once_stored(tx, services(request))
    located(response, "sparkplug", str(made.id))
    return _out(tx, [made])[0]


@router.post("/try")
def try_group(tx: ReadingDep, _caller: CurrentAccount, body: GroupTrialIn, now: Now) -> TrialOut:
    """Tell what a sample message would become; nothing is stored."""
    reads = sparkplug_groups.check_group(group=body.group, node=body.node, units=body.pairs())
    found = try_sample(
        tx,
        reads=reads,
        gateway=body.gateway,
        topic=body.sample_topic,
        octets=octets_of(body.sample),
        now=now,
    )
    return trial_out(found)


@router.get("/{group}")
def get_group(tx: ReadingDep, group: RowId) -> GroupOut:
    """Get a group."""
    return _out(tx, [sparkplug_groups.group_at(tx, group_id=group)])[0]


@router.delete("/{group}", status_code=204, dependencies=_CHANGE)
def delete_group(request: Request, tx: TransactionDep, group: RowId) -> None:
    """Read a group no more; what it brought stays."""
    sparkplug_groups.delete_group(tx, group_id=group)
    tell_once_stored(tx, services(request))


def _out(tx: Tx, groups: Sequence[KnownGroup]) -> list[GroupOut]:
    nodes = sparkplug.nodes_of(tx, group_ids=[group.id for group in groups])
    return [
        GroupOut(
            id=group.id,
            group=group.group,
            node=group.node,
            gateway=f"{group.gateway.site}/{group.gateway.code}",
            units=[UnitOut(pattern=pattern, unit=unit) for pattern, unit in group.reads.units],
            asks=group.asks,
            nodes=[
                NodeOut(node=node.name, alive=node.alive, asked_at=node.asked_at)
                for node in nodes
                if node.group_id == group.id
            ],
        )
        for group in groups
    ]
