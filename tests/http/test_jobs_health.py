"""That what runs by itself fails is told at /ready at once, and on every page once it lasts."""

from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

import pytest

from drumkeep.storage import job_faults, leases
from drumkeep.storage.transaction import transaction
from tests.fixtures.html import Page
from tests.fixtures.people import signed_in
from tests.fixtures.serving import manager, serving

__all__ = ["manager", "serving"]

SPANISH = {"Accept-Language": "es"}
NOT_COMPUTED = "drums or alarms are not all computed"


@pytest.fixture(scope="module")
def people(serving):
    with signed_in(serving, "manager") as boss, signed_in(serving, "crew") as crew:
        yield {"manager": boss, "crew": crew}


def ago(*, minutes):
    # Asked each time: between the reading of this file and a test of it minutes pass.
    return datetime.now(UTC) - timedelta(minutes=minutes)  # noqa: TID251 - the service's own clock


@contextmanager
def failing(serving, job, *, minutes):
    since = ago(minutes=minutes)
    with transaction(serving.engine) as tx:
        job_faults.note(tx, job=job, now=since)
    try:
        yield since
    finally:
        with transaction(serving.engine) as tx:
            job_faults.clear(tx, job=job)


@contextmanager
def nobody_runs_them(serving, *, minutes):
    held = {"name": leases.SCHEDULE, "holder": "gone"}
    over, minute = ago(minutes=minutes), timedelta(minutes=1)
    with transaction(serving.engine) as tx:
        leases.take(tx, **held, now=over - minute, length=minute)
    try:
        yield over
    finally:
        with transaction(serving.engine) as tx:
            leases.take(tx, **held, now=ago(minutes=0), length=timedelta(days=1))


def ready(serving):
    with serving.client() as nobody:
        answer = nobody.get("/ready")
    assert answer.status_code == 200, answer.text
    return answer.json()


def page(person, **headers):
    return Page(person.client.get("/alarms", headers=headers).text).words


def test_ready_names_a_job_that_fails_and_goes_on_taking_requests(serving):
    assert ready(serving)["status"] == "ok"
    with failing(serving, "advance", minutes=0) as since:
        told = ready(serving)

    assert told["status"] == "jobs failing"
    assert [one["job"] for one in told["failing_jobs"]] == ["advance"]
    assert datetime.fromisoformat(told["failing_jobs"][0]["since"]) == since
    assert ready(serving)["status"] == "ok"


def test_ready_tells_that_nobody_runs_the_jobs(serving):
    with nobody_runs_them(serving, minutes=10) as over:
        told = ready(serving)

    assert told["status"] == "jobs not run"
    assert datetime.fromisoformat(told["jobs_not_run_since"]) == over


def test_every_page_says_so_once_it_lasts(serving, people):
    with failing(serving, "alarms", minutes=1):
        assert NOT_COMPUTED not in page(people["crew"])
    with failing(serving, "alarms", minutes=10):
        assert NOT_COMPUTED in page(people["crew"])
        assert "Mida con termómetro antes de usar" in page(people["crew"], **SPANISH)
    with nobody_runs_them(serving, minutes=10):
        assert NOT_COMPUTED in page(people["crew"])
    assert NOT_COMPUTED not in page(people["crew"])


def test_that_nothing_is_told_elsewhere_sends_people_to_the_alarms(serving, people):
    with failing(serving, "notices", minutes=10):
        assert "look at the alarms here" in page(people["crew"])


def test_upkeep_that_fails_is_told_to_the_manager_alone(serving, people):
    with failing(serving, "thin", minutes=10):
        assert "The upkeep of the database fails (thin)." in page(people["manager"])
        assert "upkeep" not in page(people["crew"])
