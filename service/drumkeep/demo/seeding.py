"""Sends the invented company to the service, piece by piece.

Whatever was sent by a start that was interrupted is found there: the catalogue by its names, drums
and their events by UUIDs that are made from the scenario, so that the same is never made twice.
"""

from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from uuid import UUID, uuid5

from drumkeep.demo import company, probe, supplies
from drumkeep.demo.client import Client
from drumkeep.demo.climate import Outdoors
from drumkeep.demo.company import Sensor
from drumkeep.demo.deeds import Batch, Deed
from drumkeep.demo.forecast import air_forecast
from drumkeep.demo.sign_ins import SignIn
from drumkeep.demo.stock import BATCHES, batch_of
from drumkeep.demo.timetable import Timetable
from drumkeep.errors import Unavailable

_NAMESPACE: Final = UUID("6b0f0f5e-5d0c-4c0e-9a53-0d6f2f6f9a10")

_NAMES_OTHER: Final = {"topped": "from", "decanted": "to"}

_UNLIKE_K: Final = 0.1
"""Drums of one batch are not quite alike."""

Clients = Mapping[str, Client]
"""A signed-in client by role."""

Outside = Mapping[str, Outdoors]
"""The outdoor air by site."""


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
                    "temporary": False,  # whoever looks at the demo is told it
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
    pin_films(manager)
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
    """Say where each sensor of a place has hung since its first reading.

    Only once its history is stored: a sensor that hangs somewhere and was never heard is missed.
    """
    for sensor in company.SENSORS:
        if sensor.place is not None:
            _hang(manager, sensor, {"place": sensor.place}, timetable=timetable)


def fix_sensors(manager: Client, *, tags: Mapping[str, str], timetable: Timetable) -> None:
    """Say in which drum's liquid each sensor has been that is on a drum; ``tags`` by receipt."""
    for sensor in company.SENSORS:
        if sensor.drum is not None:
            drum = {"drum": tags[_id(batch_of(sensor.drum), 0)], "height_m": sensor.height_m}
            _hang(manager, sensor, drum, timetable=timetable)


def pin_films(manager: Client) -> None:
    """Pin the films that somebody measured."""
    for place, film in company.FILMS.items():
        if not manager.get(f"/places/{place}/film")["history"]:
            manager.put(f"/places/{place}/film", film)


def send_forecast(dispatcher: Client, *, outside: Outside, now: datetime) -> None:
    """Send a forecast of the cold site's outdoor air, issued now; the other site has none."""
    forecast = air_forecast(outside[company.COLD], now=now)
    if forecast is not None:
        dispatcher.put(f"/sites/{company.COLD}/air-forecast", forecast)


def send_drums(clients: Clients, *, timetable: Timetable, outside: Outside) -> dict[str, str]:
    """Receive the drums, then record what was done with them in the order of time.

    Returns
    -------
    dict
        The tag of each drum by the UUID of its receipt.
    """
    receipts = [
        _receipt(batch, index, timetable) for batch in BATCHES for index in range(batch.count)
    ]
    drums = clients["dispatcher"].post("/drums", receipts)
    tags = {receipt["id"]: drum["tag"] for receipt, drum in zip(receipts, drums, strict=True)}
    for step in sorted(_steps(), key=lambda step: step.deed.at(timetable)):
        tag = tags[_id(step.batch, step.index)]
        event = _event(step, tags=tags, timetable=timetable, outside=outside)
        clients[step.deed.by].post(f"/drums/{tag}/events", event)
    return tags


def send_supplies(clients: Clients, *, timetable: Timetable) -> None:
    """Say what liquid costs, what is kept beside it, and that the rig was looked over."""
    manager, crew = clients["manager"], clients["crew"]
    for price in supplies.PRICES:
        manager.post("/prices", price)
    for kept, _ in supplies.CONSUMABLES:
        manager.ensure("/consumables", kept)
    known = {one["name"]: one["id"] for one in manager.get("/consumables")["items"]}
    for kept, counted in supplies.CONSUMABLES:
        entry = {
            "id": str(uuid5(_NAMESPACE, f"count of {kept['name']}")),
            "deed": "counted",
            "quantity": counted,
        }
        crew.post(f"/consumables/{known[kept['name']]}/entries", entry)
    rig = {
        "id": str(uuid5(_NAMESPACE, "look at the rig")),
        "place": "willow/rig",
        "at": supplies.CHECKED(timetable).isoformat(),
        "checks": supplies.CHECKS,
    }
    crew.post("/rig-checks", rig)


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


def _event(
    step: _Step, *, tags: Mapping[str, str], timetable: Timetable, outside: Outside
) -> dict[str, Any]:
    deed = step.deed
    at = deed.at(timetable)
    event = {
        "id": _id(step.batch, step.index, step.number),
        "kind": deed.kind,
        "at": at.isoformat(),
        **deed.fields,
        **{name: when(timetable).isoformat() for name, when in deed.times.items()},
    }
    if deed.note is not None:
        event["note"] = deed.note
    if deed.other is not None:
        event[_NAMES_OTHER[deed.kind]] = tags[_id(batch_of(deed.other), 0)]
    if deed.kind == "dipped":
        air = outside[step.batch.place.partition("/")[0]]
        said = probe.reading(step.batch, at=at, timetable=timetable, outside=air)
        event["c"] = round(said + deed.off_k + _UNLIKE_K * step.index, 1)
    return event


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
        "un_mark": batch.un_mark,
    }
    return {
        "id": _id(batch, index),
        "at": batch.at(timetable).isoformat(),
        **{name: value for name, value in told.items() if value is not None},
    }


def _hang(
    manager: Client, sensor: Sensor, where: Mapping[str, Any], *, timetable: Timetable
) -> None:
    path = f"/sensors/{sensor.name}"
    if not manager.get(path)["mounts"]:
        since = timetable.start if sensor.since is None else sensor.since(timetable)
        mount = {"what": sensor.what, "since": since.isoformat(), **where}
        manager.patch(path, {"mount": mount})
