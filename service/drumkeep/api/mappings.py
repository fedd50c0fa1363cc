"""``/mappings``: how messages of devices that do not speak SenML are read."""

from fastapi import APIRouter, Depends, Request, Response

from drumkeep.api.addresses import located
from drumkeep.api.schemas.mappings import (
    MappingIn,
    MappingOut,
    TrialIn,
    TrialOut,
    TriedReading,
    TriedRejection,
)
from drumkeep.asgi.broker import tell_once_stored
from drumkeep.asgi.dependencies import (
    Now,
    ReadingDep,
    TransactionDep,
    require,
    services,
)
from drumkeep.domain.grid import from_ms
from drumkeep.domain.roles import Action
from drumkeep.operations import foreign_mappings
from drumkeep.operations.foreign import ForeignReadings, check_map, read_message
from drumkeep.operations.foreign_mappings import KnownMapping
from drumkeep.operations.sparkplug_metrics import Metrics

router = APIRouter(prefix="/mappings", tags=["gateways"])
_CHANGE = [Depends(require(Action.CHANGE_CATALOGUE))]


@router.get("")
def list_mappings(tx: ReadingDep) -> list[MappingOut]:
    """List every mapping."""
    return [_out(known) for known in foreign_mappings.known_mappings(tx)]


@router.post("", status_code=201, dependencies=_CHANGE)
def create_mapping(
    request: Request, tx: TransactionDep, body: MappingIn, response: Response
) -> MappingOut:
    """Make a mapping; ingest reads by it within seconds."""
    made = foreign_mappings.create_mapping(
        tx,
        code=body.code,
        gateway=body.gateway,
        mapping=body.as_map(),
        root=services(request).mqtt_root,
    )
    tell_once_stored(tx, services(request))
    located(response, "mappings", made.code)
    return _out(made)


@router.post("/try", dependencies=_CHANGE)
def try_mapping(request: Request, body: TrialIn, now: Now) -> TrialOut:
    """Tell what a sample message would become; nothing is stored."""
    mapping = body.as_map()
    check_map(mapping, root=services(request).mqtt_root)
    read = read_message(mapping, topic=body.sample_topic, payload=body.sample.encode(), now=now)
    return trial_out(read)


@router.get("/{code}")
def get_mapping(tx: ReadingDep, code: str) -> MappingOut:
    """Get a mapping."""
    return _out(foreign_mappings.mapping_at(tx, code=code))


@router.delete("/{code}", status_code=204, dependencies=_CHANGE)
def delete_mapping(request: Request, tx: TransactionDep, code: str) -> None:
    """Let a mapping go; what it brought stays."""
    foreign_mappings.delete_mapping(tx, code=code)
    tell_once_stored(tx, services(request))


def _out(known: KnownMapping) -> MappingOut:
    return MappingOut(
        code=known.code,
        gateway=f"{known.gateway.site}/{known.gateway.code}",
        topic=known.map.topic,
        items=known.map.items,
        name=known.map.name,
        value=known.map.value,
        unit=known.map.unit,
        time=known.map.time,
    )


def trial_out(read: ForeignReadings | Metrics) -> TrialOut:
    """Answer what a sample would become."""
    return TrialOut(
        readings=[
            TriedReading(
                item=one.index,
                name=one.sensor_name,
                quantity=one.quantity,
                value=one.value,
                at=from_ms(one.ts_ms),
            )
            for one in read.readings
        ],
        rejections=[
            TriedRejection(
                item=one.index,
                field=one.field,
                value=None if one.value is None else str(one.value)[:200],
                problem=one.problem,
                mend=one.mend,
            )
            for one in read.rejections
        ],
    )
