"""Readings with wrong times: refused with their reason, and the manager told whose clock it is."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.domain.readings import ArrivedPack, GatewayKey, sift
from drumkeep.operations.readings import record_batch
from drumkeep.storage.transaction import transaction
from drumkeep_wire.records import Record
from tests.builders import catalogue as build
from tests.fixtures.people import signed_in
from tests.fixtures.serving import manager, nobody, serving

__all__ = ["manager", "nobody", "serving"]
API = "/api/v1"
SENML = {"Content-Type": "application/senml+json"}
NOW = datetime.now(UTC)  # noqa: TID251 - readings must be recent to be taken
YEAR = timedelta(days=365)


@pytest.fixture
def sensor(manager):
    made = manager.post(f"{API}/sensors", json=build.sensor())
    assert made.status_code == 201, made.text
    return made.json()["name"]


def send(manager, sensor, at):
    pack = [{"n": sensor, "u": "Cel", "v": 20, "t": at}]
    answer = manager.post(f"{API}/readings", content=json.dumps(pack), headers=SENML)
    assert answer.status_code < 500, answer.text
    return answer.json()


@pytest.mark.parametrize(
    ("ahead", "problem"),
    [
        (-YEAR, "is more than 90 days back"),
        (YEAR, "is more than 10 minutes ahead"),
        (datetime(1978, 7, 5, tzinfo=UTC) - NOW, "is more than 90 days back"),
        (timedelta(minutes=11), "is more than 10 minutes ahead"),
        (-timedelta(days=90, minutes=1), "is more than 90 days back"),
    ],
)
def test_a_wrong_time_is_refused_over_http_and_listed(manager, sensor, ahead, problem):
    now = datetime.now(UTC)  # noqa: TID251 - NOW may be minutes old
    told = send(manager, sensor, (now + ahead).timestamp())

    assert told["stored"] == 0
    assert [one["problem"] for one in told["rejected"]] == [problem]
    kept = manager.get(f"{API}/readings/rejected").json()["items"]
    assert any(one["problem"] == problem for one in kept)


@pytest.mark.parametrize("back", [timedelta(), timedelta(days=89, hours=23), -timedelta(minutes=9)])
def test_a_time_within_the_window_is_taken_over_http(manager, sensor, back):
    assert send(manager, sensor, (NOW - back).timestamp())["stored"] == 1


def test_seconds_that_a_clock_never_set_counts_are_relative_to_the_arrival(manager, sensor):
    """A time under 2**28 counts from now (RFC 8428, 4.5.3); what is near zero is so taken."""
    assert send(manager, sensor, -60)["stored"] == 1
    assert send(manager, sensor, 5_000)["stored"] == 0  # it is more than 10 minutes ahead


@pytest.fixture
def gateway(manager):
    site = manager.post(f"{API}/sites", json=build.site()).json()["code"]
    return manager.post(f"{API}/gateways", json=build.gateway(site)).json()


def publish(serving, gateway, ahead, *, now):
    """Have a pack of a gateway come as from the broker."""
    record = Record("urn:dev:ow:10e2073a01080063:temp", "Cel", 20.0, (now + ahead).timestamp())
    readings, rejections = sift([record], now=now)
    pack = ArrivedPack(
        source=f"drumkeep/v1/{gateway['gateway']}/readings",
        gateway=GatewayKey(gateway["site"], gateway["code"]),
        readings=readings,
        rejections=rejections,
        spool=None,
        prefix=b"[]",
        size=2,
    )
    with transaction(serving.engine) as tx:
        record_batch(tx, packs=[pack], now=now)


@pytest.mark.parametrize(
    ("ahead", "words"),
    [
        (-YEAR, "Its clock is off by about a year: it is behind"),
        (YEAR, "Its clock is off by about a year: it is ahead"),
        (timedelta(minutes=11), "Its clock is off by about 11 minutes"),
        (datetime(1970, 1, 1, tzinfo=UTC) - NOW, "it was never set since it was switched on"),
    ],
)
def test_the_manager_reads_on_both_pages_whose_clock_is_wrong(serving, gateway, ahead, words):
    for minutes in (2, 1):
        publish(serving, gateway, ahead, now=NOW - timedelta(minutes=minutes))

    with signed_in(serving, "manager") as person:
        for path in ("/gateways", "/sensors"):
            page = person.get(path)
            assert gateway["gateway"] in page.words
            assert words in page.words
            assert "Set its clock" in page.words


def test_a_clock_that_is_right_and_one_that_was_wrong_long_ago_are_not_told_of(serving, gateway):
    publish(serving, gateway, timedelta(minutes=-1), now=NOW)
    publish(serving, gateway, YEAR, now=NOW - timedelta(hours=7))

    with signed_in(serving, "manager") as person:
        assert f"Gateway {gateway['gateway']}" not in person.get("/sensors").words


def test_a_manager_reads_what_was_refused_and_others_may_not(serving, manager, sensor):
    told = send(manager, sensor, (NOW - YEAR).timestamp())
    assert told["stored"] == 0
    with signed_in(serving, "manager") as person:
        page = person.get("/refused")
        assert "about a year" in page.words
        assert "is more than 90 days back" in page.words
        assert "Refused readings" in person.get("/gateways").words
        person.get("/refused?before=1")
        person.get("/refused?before=x", status=422)
    with signed_in(serving, "dispatcher") as person:
        person.get("/refused", status=403)
        assert "Refused readings" not in person.get("/gateways").words
