"""A drum's history over HTTP: what was computed in a span of time, and what happened."""

from datetime import datetime, timedelta
from itertools import pairwise

import pytest

from tests.builders.stock import ago, event
from tests.fixtures.answers import check_problem
from tests.fixtures.serving import serving
from tests.fixtures.yard import AIR_C, API, yard

__all__ = ["serving", "yard"]
pytestmark = pytest.mark.both_stores


@pytest.fixture(scope="module")
def tag(yard):
    """Give a drum received two days ago at 18 °C, moved into the van half a day later."""
    tag = yard.receive(at=ago(48.0))["tag"]
    yard.record(tag, "moved", to=yard.place("van"), at=ago(36.0))
    yard.record(tag, "dipped", c=13.0, height_m=0.1, at=ago(2.0), note="cool")
    return tag


def history(yard, tag, **span):
    return yard.client.get(f"{API}/drums/{tag}/history", params=span)


def times(points):
    return [datetime.fromisoformat(point["at"]) for point in points]


def test_a_history_has_a_point_every_half_hour_and_the_present(yard, tag):
    points = history(yard, tag).json()["points"]

    found = times(points)
    assert found == sorted(found)
    gaps = {later - earlier for earlier, later in pairwise(found[:-1])}
    assert gaps == {timedelta(minutes=30)}
    assert points[-1]["at"] == yard.get(tag)["estimate"]["at"]
    assert points[-1]["bottom_c"] == pytest.approx(yard.get(tag)["estimate"]["bottom_c"])
    assert 96 <= len(points) <= 98  # 48 h, from the first half hour after the receipt


def test_a_history_tells_the_air_of_where_the_drum_was(yard, tag):
    points = history(yard, tag).json()["points"]

    assert points[0]["air_c"] == AIR_C["hall"]
    assert points[-1]["air_c"] == AIR_C["van"]
    assert points[-1]["mean_c"] < points[0]["mean_c"] - 2.0
    for point in points:
        assert point["low_c"] <= point["bottom_c"] <= point["mean_c"] + 1e-9
        assert point["mean_c"] <= point["high_c"]
        assert point["supported"]


def test_a_history_is_cut_to_the_span_asked_for(yard, tag):
    start, end = ago(30.0), ago(10.0)

    found = times(history(yard, tag, start=start, end=end).json()["points"])

    assert datetime.fromisoformat(start) - timedelta(minutes=5) <= found[0]
    assert found[-1] <= datetime.fromisoformat(end)
    assert len(found) in {40, 41}


def test_a_history_of_another_time_is_empty_of_points_and_tells_the_events(yard, tag):
    found = history(yard, tag, start=ago(24.0 * 30), end=ago(24.0 * 29)).json()

    assert found["points"] == []
    assert [e["kind"] for e in found["events"]] == ["received", "moved", "dipped"]
    received, moved, dipped = found["events"]
    assert received["data"]["place"] == yard.place("hall")
    assert moved["data"] == {"to": yard.place("van")}
    assert (dipped["data"], dipped["note"]) == (
        {"c": 13.0, "height_m": 0.1, "sigma_k": 0.3},
        "cool",
    )


def test_a_drum_of_which_nothing_is_known_has_points_without_figures(yard):
    # the dock of another site has no sensor, so nothing tells where it started
    site = yard.client.post(
        f"{API}/sites",
        json={"code": "blind", "name": "Blind", "timezone": "America/Chicago"},
    ).json()["code"]
    yard.client.post(
        f"{API}/places", json={"site": site, "code": "hall", "name": "Hall", "kind": "warehouse"}
    )
    drum = yard.receive(place=f"{site}/hall", liquid_c=None, at=ago(3.0))
    assert drum["estimate"] is None
    assert drum["readiness"]["state"] == "unknown"

    points = history(yard, drum["tag"]).json()["points"]

    assert {point["bottom_c"] for point in points} == {None}
    assert {point["air_c"] for point in points} == {None}
    assert not any(point["supported"] for point in points)


def test_times_with_any_zone_ask_for_the_same(yard, tag):
    moment = datetime.fromisoformat(ago(10.0))
    other = (moment - timedelta(hours=6)).strftime("%Y-%m-%dT%H:%M:%S-06:00")

    one = history(yard, tag, start=ago(20.0), end=moment.strftime("%Y-%m-%dT%H:%M:%SZ"))

    assert history(yard, tag, start=ago(20.0), end=other).json()["points"] == one.json()["points"]


@pytest.mark.parametrize(
    ("span", "field"),
    [
        ({"start": ago(1.0), "end": ago(2.0)}, "start"),
        ({"start": ago(1.0), "end": ago(1.0)}, "start"),
        ({"start": ago(-1.0)}, "start"),
        ({"start": ago(24.0 * 367)}, "start"),
        ({"start": "2000-01-01T00:00:00Z", "end": "2100-12-31T00:00:00Z"}, "start"),
        ({"start": "2026-01-31T05:00:00"}, "start"),
        ({"end": "yesterday"}, "end"),
        ({"end": "1"}, "end"),
        ({"end": ""}, "end"),
        ({"end": "9999-12-31T23:59:59Z"}, "end"),
        ({"days": "5"}, "days"),
    ],
)
def test_a_span_that_is_none_is_refused(yard, tag, span, field):
    check_problem(history(yard, tag, **span), 422, field)


def test_the_longest_span_is_a_year(yard, tag):
    assert history(yard, tag, start=ago(24.0 * 365.9)).status_code == 200
    assert history(yard, tag, end=ago(-24.0 * 300)).json()["points"] == []


@pytest.mark.parametrize(("other", "status"), [("K7Q-X4M", 404), ("K7Q-X4N", 422)])
def test_there_is_no_history_of_no_drum(yard, other, status):
    check_problem(history(yard, other), status, "tag")


def test_the_history_of_a_drum_gone_ends_where_it_went(yard):
    tag = yard.receive(at=ago(6.0))["tag"]
    yard.send(tag, event("emptied", at=ago(2.0)))

    found = times(history(yard, tag).json()["points"])

    assert max(found[:-1]) <= datetime.fromisoformat(ago(2.0))
