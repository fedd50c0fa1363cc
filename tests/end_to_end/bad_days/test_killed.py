"""Power cuts: service, gateway, broker and PostgreSQL killed (SIGKILL) while readings come in.

The broker keeps nothing on its disk here, so what it had acknowledged is gone with it. A failing
run is repeated, as nearly as processes allow, with the seed that it printed.
"""

import os
import random
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import pytest

from tests.fixtures.broker import Mosquitto, running_mosquitto
from tests.fixtures.company import Company, check_each_once, company
from tests.fixtures.postgres import Postgres, running_postgres
from tests.fixtures.process import wait_until

pytestmark = [pytest.mark.broker, pytest.mark.slow]

ROUNDS: Final = int(os.environ.get("DRUMKEEP_KILL_ROUNDS", "3"))
"""How often each is killed: 3 times by default, 50 in a long run."""

AS_WELL: Final = 1 if ROUNDS <= 3 else ROUNDS
"""How often on the second store what is killed on the first: once in a short run."""

PER_ROUND_S: Final = 40

Strike = Callable[[], None]


@pytest.fixture
def dice() -> random.Random:
    seed = int(os.environ.get("DRUMKEEP_KILL_SEED", random.SystemRandom().randrange(10**6)))
    print(f"DRUMKEEP_KILL_SEED={seed}")  # noqa: T201 - so that a failing run can be repeated
    return random.Random(seed)  # noqa: S311 - no secret


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with running_mosquitto(tmp_path / "broker", persistent=False) as broker:
        yield broker


@pytest.mark.timeout(60 + 3 * PER_ROUND_S * ROUNDS)
def test_every_reading_is_stored_once_though_service_gateways_and_broker_are_killed(
    tmp_path: Path, broker: Mosquitto, dice: random.Random
):
    with company(tmp_path, url=f"sqlite:///{tmp_path}/drumkeep.db", door=broker) as everyone:
        storm(everyone, ROUNDS * common_strikes(everyone, broker, dice), dice)
        check_each_once(everyone.settle(), at_least=30 * ROUNDS)
        check_sound(everyone)


@pytest.mark.postgres
@pytest.mark.timeout(120 + (3 * AS_WELL + 2 * ROUNDS) * PER_ROUND_S)
def test_every_reading_is_stored_once_though_postgresql_is_killed_as_well(
    tmp_path: Path, broker: Mosquitto, dice: random.Random
):
    with running_postgres(durable=True) as cluster, furnished(cluster, tmp_path, broker) as all_:
        strikes: list[Strike] = [
            lambda: strike_postgres(cluster, dice),
            lambda: strike_a_backend(cluster, dice),
        ]
        storm(all_, ROUNDS * strikes + AS_WELL * common_strikes(all_, broker, dice), dice)
        check_each_once(all_.settle(), at_least=30 * ROUNDS)
        check_sound(all_)


@contextmanager
def furnished(cluster: Postgres, folder: Path, broker: Mosquitto) -> Iterator[Company]:
    with company(folder, url=cluster.url(cluster.create()), door=broker) as everyone:
        yield everyone


def common_strikes(everyone: Company, broker: Mosquitto, dice: random.Random) -> list[Strike]:
    return [
        lambda: strike_service(everyone, dice),
        lambda: strike_gateway(everyone, dice),
        lambda: strike_broker(broker, dice),
    ]


def storm(everyone: Company, strikes: list[Strike], dice: random.Random) -> None:
    """Strike in an order of the dice, now and then twice in a row."""
    dice.shuffle(strikes)
    everyone.start()
    struck_ms = 0.0
    for number, strike in enumerate(strikes):
        if dice.random() < 0.75:  # else in the midst of coming up
            wait_until(
                lambda: flows(everyone, since_ms=struck_ms),  # noqa: B023
                f"readings flow before strike {number}",
            )
        time.sleep(dice.uniform(0.0, 0.5))
        strike()
        struck_ms = time.time() * 1000  # noqa: TID251 - what gateways date their readings by
    print(f"{len(strikes)} strikes")  # noqa: T201 - a long run tells its figures


def flows(everyone: Company, *, since_ms: float) -> bool:
    """Whether every sensor's readings since the last strike are stored; who has ended starts."""
    if not everyone.service.alive:
        everyone.service.start()
    newest = everyone.newest_ms()
    return newest is not None and newest > since_ms


def strike_service(everyone: Company, dice: random.Random) -> None:
    everyone.service.kill()
    time.sleep(dice.uniform(0.0, 0.3))
    everyone.service.start()


def strike_gateway(everyone: Company, dice: random.Random) -> None:
    gateway = everyone.gateways[dice.choice(sorted(everyone.gateways))]
    gateway.kill()
    time.sleep(dice.uniform(0.0, 0.3))
    gateway.start()


def strike_broker(broker: Mosquitto, dice: random.Random) -> None:
    broker.kill()
    time.sleep(dice.uniform(0.0, 0.3))
    broker.start()


def strike_postgres(cluster: Postgres, dice: random.Random) -> None:
    cluster.kill()
    time.sleep(dice.uniform(0.0, 0.3))
    cluster.start()


def strike_a_backend(cluster: Postgres, dice: random.Random) -> None:
    cluster.kill_a_backend(dice.choice)


def check_sound(everyone: Company) -> None:
    """Check that nobody was refused, and nobody stumbled in a way that was not foreseen."""
    assert everyone.count("reject") == 0
    for process in (everyone.service, *everyone.gateways.values()):
        assert "Traceback" not in process.told(), process.told()
