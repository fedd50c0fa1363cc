"""Sends the invented company to the service, piece by piece.

Whatever was sent by a start that was interrupted is found there: the catalogue by its names, drums
and their events by UUIDs that are made from the scenario, so that the same is never made twice.
"""

from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final
from uuid import UUID, uuid5

from drumkeep.demo import company
from drumkeep.demo.client import Client
from drumkeep.demo.company import Sensor
from drumkeep.demo.sign_ins import SignIn
from drumkeep.demo.stock import BATCHES, Batch, Deed
from drumkeep.demo.timetable import Timetable
from drumkeep.errors import Unavailable

_NAMESPACE: Final = UUID("6b0f0f5e-5d0c-4c0e-9a53-0d6f2f6f9a10")

Clients = Mapping[str, Client]
"""A signed-in client by role."""


@contextmanager
def signed_in(address: str, people: Mapping[str, SignIn]) -> Iterator[Clients]:
    """Sign people in for as long as it takes; after trouble the sessions run out by themselves."""
    with ExitStack() as stack:
        clients: dict[str, Client] = {}
        for role, person in people.items():
            client = stack.enter_context(Client(address))
            if not client.sign_in(person):
                raise Unavailable(
                    f"{person.name} cannot sign in with the passphrase of this folder. "
                    "Start over with --fresh."
                )
            clients[role] = client
        yield clients
        for client in clients.values():
            client.sign_out()


def make_accounts(manager: Client, people: Mapping[str, SignIn]) -> None:
    """Make everybody's account but the manager's, who is there."""
    for role, person in people.items():
        if role != "manager":
            manager.ensure(
                "/accounts",
                {
                    "name": person.name,
                    "display_name": person.display_name,
                    "role": role,
                    "password": person.passphrase,
                },
            )


def send_catalogue(manager: Client, *, timetable: Timetable) -> None:
    """Send sites, places, products, lots, gateways, and sensors that do not hang anywhere yet."""
    for site in company.SITES:
        manager.ensure("/sites", site)
    for place in company.PLACES:
        manager.ensure("/places", place)
    for product in company.PRODUCTS:
        manager.ensure("/products", product)
    for product_code, code, days in company.LOTS:
        made_on = (timetable.begun - timedelta(days=days)).date().isoformat()
        manager.ensure("/lots", {"product": product_code, "code": code, "made_on": made_on})
    for gateway in company.GATEWAYS:
        manager.ensure(
            "/gateways", {"site": gateway.site, "code": gateway.code, "urn": gateway.urn}
        )
    for sensor in company.SENSORS:
        manager.ensure(
            "/sensors",
            {
                "name": sensor.name,
                "quantity": sensor.quantity,
                "gateway": sensor.gateway,
                "interval_s": float(company.INTERVAL_S),
                "error_k": company.ERROR_K,
            },
        )


def hang_sensors(manager: Client, *, timetable: Timetable) -> None:
    """Say where each sensor has hung since its first reading.

    Only once its history is stored: a sensor that hangs somewhere and was never heard is missed.
    """
    for sensor in company.SENSORS:
        path = f"/sensors/{sensor.name}"
        if not manager.get(path)["mounts"]:
            manager.patch(path, {"mount": _mount(sensor, timetable)})


def send_drums(clients: Clients, *, timetable: Timetable) -> int:
    """Receive the drums, then record what was done with them in the order of time.

    Returns
    -------
    int
        How many drums there are.
    """
    receipts = [
        _receipt(batch, index, timetable) for batch in BATCHES for index in range(batch.count)
    ]
    drums = clients["dispatcher"].post("/drums", receipts)
    tags = {receipt["id"]: drum["tag"] for receipt, drum in zip(receipts, drums, strict=True)}
    for step in sorted(_steps(), key=lambda step: step.deed.at(timetable)):
        tag = tags[_id(step.batch, step.index)]
        clients[step.deed.by].post(f"/drums/{tag}/events", _event(step, timetable))
    return len(tags)


@dataclass(frozen=True)
class _Step:
    """One deed done with one drum of a batch."""

    batch: Batch
    index: int
    number: int

    @property
    def deed(self) -> Deed:
        return self.batch.deeds[self.number]


def _steps() -> Iterator[_Step]:
    for batch in BATCHES:
        for number in range(len(batch.deeds)):
            for index in range(batch.count):
                yield _Step(batch, index, number)


def _event(step: _Step, timetable: Timetable) -> dict[str, Any]:
    deed = step.deed
    noted = {} if deed.note is None else {"note": deed.note}
    return {
        "id": _id(step.batch, step.index, step.number),
        "kind": deed.kind,
        "at": deed.at(timetable).isoformat(),
        **deed.fields,
        **noted,
    }


def _id(batch: Batch, index: int, number: int | None = None) -> str:
    return str(uuid5(_NAMESPACE, f"{batch.key} {index} {'receipt' if number is None else number}"))


def _receipt(batch: Batch, index: int, timetable: Timetable) -> dict[str, Any]:
    told = {
        "product": batch.product,
        "lot": batch.lot,
        "place": batch.place,
        "from": batch.origin,
        "net_kg": batch.net_kg,
        "liquid_c": batch.liquid_c,
    }
    return {
        "id": _id(batch, index),
        "at": batch.at(timetable).isoformat(),
        **{name: value for name, value in told.items() if value is not None},
    }


def _mount(sensor: Sensor, timetable: Timetable) -> dict[str, Any]:
    return {"what": sensor.what, "place": sensor.place, "since": timetable.start.isoformat()}
