"""The broker is away for three days: the gateway keeps all, sends it afterwards, drums follow.

The gateway's own program lives through the three days in seconds, on clocks that run fast until
they are right; its power fails twice meanwhile.
"""

import time
from datetime import UTC, datetime, timedelta
from itertools import groupby
from pathlib import Path
from typing import Final
from uuid import uuid4

import pytest

from drumkeep.domain.grid import moment_of
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.storage.drums import list_drums
from drumkeep.storage.transaction import reading
from tests.fixtures import board
from tests.fixtures.broker import Mosquitto
from tests.fixtures.company import Company, Gateway, check_each_once, company, sensors_of
from tests.fixtures.depot import check_same, recomputed
from tests.fixtures.process import wait_until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(180)]

DAY_S: Final = 86_400.0
AWAY_S: Final = 3 * DAY_S
EVERY_S: Final = 300.0
SPEED: Final = 40_000.0
SENSORS: Final = 4
SMALL_SPOOL: Final = 1000
"""The smallest that a configuration may ask for; the three days have over three thousand."""

LONGEST_RUN: Final = 32
"""Of readings thinned out between two that are left."""


def live_through_three_days(gateway: Gateway) -> None:
    """Have the gateway take readings for three days that end now, killed twice in between."""
    real = time.time()  # noqa: TID251 - where its clock ends up
    gateway.interval_s, gateway.period_s = EVERY_S, DAY_S
    shows = real - AWAY_S
    for _ in range(3):
        gateway.on_board(board.Clock(at=real, shows=shows, speed=SPEED))
        before = gateway.notes.count()
        gateway.start()
        wait_until(lambda: gateway.notes.count() > before, "it reads its sensors")  # noqa: B023
        time.sleep(DAY_S / SPEED)
        gateway.kill()
        shows = max(ts for _, ts, _ in gateway.notes.of()) / 1000 + EVERY_S
    assert gateway.notes.count() > 0.4 * SENSORS * AWAY_S / EVERY_S


def test_what_three_days_without_a_broker_brought_arrives_once_and_the_drums_are_computed_from_it(
    tmp_path: Path, mosquitto: Mosquitto
):
    with company(
        tmp_path,
        url=f"sqlite:///{tmp_path}/drumkeep.db",
        door=mosquitto,
        sites=["north"],
        roles="web,ingest,schedule",
    ) as everyone:
        gateway = everyone.gateways["north"]
        everyone.service.start()
        wait_until(everyone.service.answers, "the service is ready")
        receive_drums(everyone)
        mosquitto.kill()
        live_through_three_days(gateway)
        assert everyone.stored("north") == 0
        mosquitto.start()

        check_each_once(everyone.settle(), at_least=int(0.4 * SENSORS * AWAY_S / EVERY_S))
        assert everyone.balance().thinned == 0
        newest = max(ts for _, ts, _ in gateway.notes.of()) / 1000
        wait_until(lambda: all_computed(everyone, upto=newest), "the drums are computed from it")
        everyone.service.kill()
        check_against_recomputation(everyone)


def test_a_spool_too_small_for_three_days_thins_them_evenly_and_each_that_is_left_arrives_once(
    tmp_path: Path, mosquitto: Mosquitto
):
    with company(
        tmp_path, url=f"sqlite:///{tmp_path}/drumkeep.db", door=mosquitto, sites=["north"]
    ) as everyone:
        gateway = everyone.gateways["north"]
        gateway.settings["spool"] = {"readings": SMALL_SPOOL}
        mosquitto.kill()
        live_through_three_days(gateway)
        assert gateway.notes.waiting() <= SMALL_SPOOL
        mosquitto.start()
        everyone.service.start()

        found = everyone.settle()
        check_each_once(found, at_least=SMALL_SPOOL // 2)
        assert found.thinned > SMALL_SPOOL
        check_no_night_is_lost(gateway)


def check_no_night_is_lost(gateway: Gateway) -> None:
    """Check that what is left of each sensor reaches from the first to the last without a hole."""
    left = set(gateway.notes.of("confirmed"))
    for name in sensors_of(gateway.site):
        taken = sorted(one for one in gateway.notes.of() if one[0] == name)
        runs = [len(list(run)) for is_left, run in groupby(taken, left.__contains__) if not is_left]
        assert max(runs) <= LONGEST_RUN, (name, runs)


def receive_drums(everyone: Company) -> None:
    """Receive two drums, four days ago."""
    now = datetime.now(UTC)  # noqa: TID251 - the service reads it
    received = (now - timedelta(days=4)).strftime("%Y-%m-%dT%H:%M:%SZ")
    made_on = (now - timedelta(days=30)).date().isoformat()
    with everyone.client() as client:
        for noun, body in (
            ("products", {"code": "iso-1", "name": "Iso 1", "side": "iso"}),
            ("lots", {"product": "iso-1", "code": "2231", "made_on": made_on}),
            *(
                (
                    "drums",
                    [
                        {
                            "id": str(uuid4()),
                            "product": "iso-1",
                            "lot": "2231",
                            "place": f"north/{place}",
                            "at": received,
                            "liquid_c": 24.0,
                        }
                    ],
                )
                for place in ("hall", "dock")
            ),
        ):
            answer = client.post(f"/api/v1/{noun}", json=body)
            assert answer.status_code == 201, answer.text


def all_computed(everyone: Company, *, upto: float) -> bool:
    """Whether every drum is computed from the air up to a time, and nothing waits."""
    with everyone.client() as client:
        drums = client.get("/api/v1/drums").json()["items"]
    reached = [
        datetime.fromisoformat(drum["estimate"]["supported_to"]).timestamp()
        for drum in drums
        if drum["estimate"] and drum["estimate"]["supported_to"]
    ]
    return (
        len(reached) == len(drums)
        and min(reached) >= upto - EVERY_S
        and everyone.count("place_mark WHERE from_ms IS NOT NULL") == 0
    )


def check_against_recomputation(everyone: Company) -> None:
    """Check that what is stored of every drum equals its whole past computed anew."""
    with reading(everyone.engine) as tx:
        stock = list_drums(tx)
    assert len(stock) == 2
    for row in stock:
        assert row.estimate is not None
        anew = recomputed(everyone.engine, now=moment_of(row.estimate.step))
        check_same(states_from_bytes([row.estimate.state]), anew[row.drum.tag])
