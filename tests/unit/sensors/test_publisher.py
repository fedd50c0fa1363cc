"""What a publisher does without a broker."""

import time
from pathlib import Path

from drumkeep_sensors.publisher import (
    FIRST_RECONNECT_S,
    SLOWEST_RECONNECT_S,
    Identity,
    Publisher,
)
from drumkeep_sensors.readings_spool import ReadingsSpool
from drumkeep_wire.topics import Topics


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
