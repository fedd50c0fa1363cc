"""The line fails in the midst of a batch: cut, half a packet, a trickle, silence without an end.

A proxy of our own stands between gateway and broker, and between broker and service. It cuts with
a reset, forgets a connection without telling anybody, hears and never answers.
"""

import os
import random
import time
from collections.abc import Iterator
from typing import Final

import pytest

from tests.end_to_end.bad_days.conftest import Headquarters
from tests.fixtures.company import check_each_once
from tests.fixtures.line import Line, line_to
from tests.fixtures.process import wait_until

pytestmark = [pytest.mark.postgres, pytest.mark.broker, pytest.mark.slow]

ROUNDS: Final = int(os.environ.get("DRUMKEEP_KILL_ROUNDS", "3"))
KEEPALIVE_S: Final = 1
LONG: Final = 50
"""Rounds of a long run, which has the time to wait until the service gives up a silent line."""


@pytest.fixture
def line(headquarters: Headquarters) -> Iterator[Line]:
    with line_to(headquarters.broker) as line:
        yield line


@pytest.mark.timeout(60 + 15 * ROUNDS)
def test_a_gateways_line_is_cut_in_the_midst_of_packets_again_and_again(
    headquarters: Headquarters, line: Line
):
    everyone, dice = headquarters.everyone, random.Random()  # noqa: S311 - other places each time
    everyone.open_site("cut", door=line).start()
    everyone.wait_for_more("cut")
    for _ in range(ROUNDS):
        cuts = line.cuts
        line.cut_after(dice.randrange(1, 2000))
        wait_until(lambda: line.cuts > cuts, "the line is cut")  # noqa: B023
        everyone.wait_for_more("cut")
    check_each_once(everyone.settle("cut"), at_least=20 * ROUNDS)


@pytest.mark.timeout(60 + 15 * ROUNDS)
def test_the_services_line_is_cut_in_the_midst_of_packets_again_and_again(
    headquarters: Headquarters,
):
    everyone, dice = headquarters.everyone, random.Random()  # noqa: S311 - as above
    everyone.open_site("served", door=headquarters.broker).start()
    everyone.wait_for_more("served")
    for _ in range(ROUNDS):
        cuts = headquarters.line.cuts
        headquarters.line.cut_after(dice.randrange(1, 200))  # of acknowledgements
        wait_until(lambda: headquarters.line.cuts > cuts, "the line is cut")  # noqa: B023
        everyone.wait_for_more("served")
    check_each_once(everyone.settle("served"), at_least=20 * ROUNDS)


@pytest.mark.timeout(90)
@pytest.mark.parametrize("state", ["silent", "deaf"])
def test_a_gateway_gives_up_a_line_that_died_without_a_word(
    headquarters: Headquarters, line: Line, state: str
):
    everyone = headquarters.everyone
    gateway = everyone.open_site(state, door=line)
    gateway.settings["broker"] = {"keepalive_s": KEEPALIVE_S}
    gateway.start()
    everyone.wait_for_more(state)
    line.become(state)
    before = gateway.notes.count()
    wait_until(lambda: gateway.notes.count() >= before + 20, "it goes on reading")
    wait_until(lambda: "The connection to the broker was lost" in gateway.told(), "it gives up")
    line.become("whole")  # for those who come anew
    everyone.wait_for_more(state)
    check_each_once(everyone.settle(state), at_least=40)


@pytest.mark.timeout(90)
def test_a_trickle_is_enough(headquarters: Headquarters, line: Line):
    everyone = headquarters.everyone
    gateway = everyone.open_site("trickle", door=line)
    line.become("down")
    gateway.start()
    wait_until(lambda: gateway.notes.waiting() >= 100, "readings wait")
    line.become("slow")
    check_each_once(everyone.settle("trickle"), at_least=100)


@pytest.mark.skipif(ROUNDS < LONG, reason="takes two minutes: part of the long run")
@pytest.mark.timeout(400)
def test_the_service_gives_up_a_line_that_died_without_a_word(headquarters: Headquarters):
    everyone = headquarters.everyone
    everyone.open_site("hushed", door=headquarters.broker).start()
    everyone.wait_for_more("hushed")
    headquarters.line.become("silent")
    time.sleep(1)
    stuck = everyone.stored("hushed")
    headquarters.line.become("whole")
    wait_until(lambda: everyone.stored("hushed") > stuck, "it has a new line", within_s=200)
    check_each_once(everyone.settle("hushed", within_s=120), at_least=100)
