"""What gateways and sensors last said of themselves."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlmodel import col

from drumkeep.storage.bulk import keyed
from drumkeep.storage.ground import Sites
from drumkeep.storage.tables.catalogue import Gateway, Sensor
from drumkeep.storage.tables.readings import latest
from drumkeep.storage.transaction import Tx


def last_said(
    tx: Tx, *, quantities: Sequence[str], sites: Sites = None
) -> list[tuple[Sensor, Gateway | None, int, float]]:
    """Return the sensors of these quantities that said anything: epoch ms and value of the last.

    With ``sites`` those that came through their gateways.
    """
    statement = (
        select(Sensor, Gateway, latest.c.ts, latest.c.value)
        .join(latest, latest.c.sensor_id == col(Sensor.id))
        .join(Gateway, col(Sensor.gateway_id) == col(Gateway.id), isouter=True)
        .where(col(Sensor.quantity).in_(quantities))
        .order_by(col(Sensor.id))
    )
    if sites is not None:
        statement = statement.where(keyed(tx.session.connection(), col(Gateway.site_id), sites))
    rows = tx.session.execute(statement)
    return [(sensor, gateway, ts, value) for sensor, gateway, ts, value in rows]
