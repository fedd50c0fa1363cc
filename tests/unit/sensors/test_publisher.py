"""What a publisher does without a broker."""

import logging
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from drumkeep_sensors.publisher import (
    FIRST_RECONNECT_S,
    SLOWEST_RECONNECT_S,
    UNCONFIRMED_TOLD_S,
    Identity,
    Publisher,
)
from drumkeep_sensors.readings_spool import ReadingsSpool, Sample
from drumkeep_wire.committed import Committed, encode_committed
from drumkeep_wire.topics import Topics
from tests.fixtures.ports import free_port
from tests.fixtures.process import wait_until


def test_gateways_that_lost_one_broker_come_back_spread_out_and_ever_more_slowly(tmp_path: Path):
    spool = ReadingsSpool(tmp_path, urn="urn:dev:os:32473-attic", most=1000)
    identity = Identity("127.0.0.1", 1, Topics(), "north", "attic")
    publishers = [
        Publisher(identity=identity, spool=spool, clock=time.monotonic) for _ in range(200)
    ]
    for failures in range(12):
        for publisher in publishers:
            publisher._back_off()
        # What paho waits next; it has no public way to ask.
        waits = [publisher._client._reconnect_min_delay for publisher in publishers]
        longest = min(SLOWEST_RECONNECT_S, FIRST_RECONNECT_S * 2**failures)

        assert 0.5 <= min(waits) < 0.5 + longest / 4
        assert longest * 0.75 < max(waits) <= longest
        assert len({round(wait, 3) for wait in waits}) > 100
    spool.close()


def test_a_password_is_not_in_what_a_log_would_show():
    identity = Identity(
        "h", 1, Topics(), "north", "attic", username="u", password=lambda: "hunter2"
    )

    assert "hunter2" not in repr(identity)


@contextmanager
def publishing(folder: Path, *, host: str = "127.0.0.1", port: int = 1) -> Iterator[Publisher]:
    """Give a publisher with a reading to send."""
    spool = ReadingsSpool(folder, urn="urn:dev:os:32473-attic", most=1000)
    spool.add([Sample("hall", "Cel", 4.0, 1.0)], start="a3c1", offset_s=1_790_000_000.0)
    spool.pack(at_once=True)
    identity = Identity(host, port, Topics(), "north", "attic")
    publisher = Publisher(identity=identity, spool=spool, clock=time.monotonic)
    try:
        yield publisher
    finally:
        publisher.stop()
        spool.close()


def stepping(publisher: Publisher, met: Callable[[], bool]) -> Callable[[], bool]:
    """Go on with what a publisher does until something is so."""

    def on() -> bool:
        publisher.step(wait_s=0.01)
        return met()

    return on


def told_by_publisher(caplog: pytest.LogCaptureFixture) -> list[str]:
    """Return what it warned of; other tests' threads may still have something to say."""
    return [
        record.message
        for record in caplog.records
        if record.name == "drumkeep_sensors.publisher" and record.levelno >= logging.WARNING
    ]


def test_why_a_broker_cannot_be_reached_is_told_once(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
):
    port = free_port()
    with publishing(tmp_path, port=port) as publisher:
        publisher._back_off = lambda: publisher._client.reconnect_delay_set(0.01, 0.01)  # type: ignore[method-assign, arg-type]
        tried: list[str] = []
        complain = publisher._complain

        def noted(trouble: str) -> None:
            tried.append(trouble)
            complain(trouble)

        publisher._complain = noted  # type: ignore[method-assign]
        publisher.start()
        wait_until(stepping(publisher, lambda: len(tried) >= 3), "it has tried thrice")

    told = f"The broker 127.0.0.1:{port} cannot be reached: [Errno 111] Connection refused"
    assert told_by_publisher(caplog) == [told]


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_client_whose_thread_has_died_ends_the_gateway_instead_of_looking_well(tmp_path: Path):
    # The resolver's own fault with such a name is none that paho expects.
    with publishing(tmp_path, host="broker..example") as publisher:
        publisher.start()
        with pytest.raises(RuntimeError, match="network thread"):
            wait_until(stepping(publisher, lambda: False), "it is noticed", within_s=20)
    # What it died of is told at its very end, and must not be told in another test.
    wait_until(lambda: "gateway-north-attic" not in str(threading.enumerate()), "it has ended")


def test_rights_that_are_missing_and_a_service_that_does_not_confirm_are_told_until_it_does(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
):
    refused = ReasonCode(PacketTypes.PUBACK, identifier=135)
    with publishing(tmp_path) as publisher:
        publisher._connected = True
        for _ in range(3):  # sent again and again, told once
            publisher._number_of[7] = 1
            publisher._passed_on(7, refused)
        publisher._heard_at = time.monotonic() - UNCONFIRMED_TOLD_S + 60
        publisher._send_due()
        publisher._heard_at = time.monotonic() - UNCONFIRMED_TOLD_S - 1
        publisher._send_due()
        publisher._send_due()
        publisher._confirmed(encode_committed(Committed(publisher._spool.file, 1)), live=True)
        publisher._confirmed(encode_committed(Committed(publisher._spool.file, 1)), live=True)
        publisher._connected = False

    rights, silence, end = told_by_publisher(caplog)
    assert "not let us write drumkeep/v1/north/attic/readings: Not authorized" in rights
    assert "confirms none" in silence
    assert "north/attic?" in silence
    assert end == "The service confirms readings again"
