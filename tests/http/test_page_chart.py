"""The figures behind a drum's chart, over real HTTP."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from tests.builders.stock import ago
from tests.fixtures.elsewhere import look_at_alarms, make_elsewhere
from tests.fixtures.people import signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import Yard

__all__ = ["manager", "serving"]

NEW_YORK = ZoneInfo("America/New_York")


@pytest.fixture(scope="module")
def yard(serving, manager) -> Yard:
    return make_elsewhere(
        serving, manager, site={"timezone": "America/New_York"}, air_c={"hall": 18.0, "room": 27.0}
    )


def series(drawing):
    """Return the columns of each source of a Bokeh drawing."""
    found = []

    def walk(value):
        if isinstance(value, dict):
            if value.get("name") == "ColumnDataSource":
                entries = value["attributes"]["data"]["entries"]
                found.append(dict(entries))
            for inner in value.values():
                walk(inner)
        elif isinstance(value, list):
            for inner in value:
                walk(inner)

    walk(drawing["doc"])
    return [columns for columns in found if "bottom" in columns]


@pytest.mark.parametrize("units", ["us", "si"])
def test_chart_has_the_past_and_both_futures_in_the_persons_units(serving, yard, units):
    tag = yard.receive(at=ago(6.0), liquid_c=10.0)["tag"]
    look_at_alarms(yard)
    history = yard.history(tag)["points"]
    with signed_in(serving, "viewer", units=units) as person:
        here, warm = (
            person.client.get(f"/drums/{tag}/chart.json", params={"ahead": ahead}).json()
            for ahead in ("here", "warm_room")
        )
        assert person.client.get(f"/drums/{tag}/chart.json?ahead=moon").status_code == 422
    past, ahead = series(here)
    _, ahead_warm = series(warm)
    assert past.keys() == {"at", "air", "bottom", "mean", "top", "low", "high"}
    shown = [c * 1.8 + 32.0 if units == "us" else c for c in (p["bottom_c"] for p in history)]
    assert past["bottom"] == pytest.approx(shown, abs=0.006)
    assert past["low"][-1] < past["bottom"][-1] < past["top"][-1] < past["high"][-1] + 1e-9
    hours = (ahead["at"][-1] - ahead["at"][0]) / 3.6e6
    assert hours == pytest.approx(48.0)
    assert ahead_warm["bottom"][-1] > ahead["bottom"][-1] + 3.0
    offset = past["at"][-1] / 1000.0 - datetime.fromisoformat(history[-1]["at"]).timestamp()
    there = datetime.fromisoformat(history[-1]["at"]).astimezone(NEW_YORK).utcoffset()
    assert there == timedelta(seconds=offset)
