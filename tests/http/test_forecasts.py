"""``POST /api/v1/forecasts`` over real HTTP."""

import json

import pytest

from drumkeep.domain.roles import Role
from tests.builders.forecasts import BAD, FILMS, asked
from tests.fixtures.serving import manager, nobody, serving

__all__ = ["manager", "nobody", "serving"]
ADDRESS = "/api/v1/forecasts"
HEADERS = {"Content-Type": "application/json"}


@pytest.mark.parametrize("role", Role)
def test_every_role_may_ask(serving, role):
    with serving.client(role) as client:
        assert client.post(ADDRESS, json=asked()).status_code == 200


def test_nobody_unknown_may_ask(nobody):
    assert nobody.post(ADDRESS, json=asked()).status_code == 401


def test_the_answer_has_every_series_at_every_time(manager):
    answer = manager.post(ADDRESS, json=asked(hours=3, step_h=0.5, targets_c=[10.0])).json()

    assert answer["h"] == [0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0]
    assert {len(answer[name]) for name in answer if name not in {"h", "reach", "warnings"}} == {7}
    assert all(len(layers) == 8 for layers in answer["layers_c"])
    assert answer["bottom_c"] == [layers[0] for layers in answer["layers_c"]]
    assert set(answer["reach"][0]) == {"target_c", "bottom_h", "mean_h", "slow_h", "fast_h"}


def test_air_that_stays_is_the_same_as_one_point_of_it(manager):
    plain = manager.post(ADDRESS, json=asked(air_c=27))
    point = manager.post(ADDRESS, json=asked(air_c=[{"h": 0, "c": 27}]))

    assert plain.content == point.content


def test_a_start_of_one_temperature_is_eight_layers_of_it(manager):
    plain = manager.post(ADDRESS, json=asked())
    layers = manager.post(ADDRESS, json=asked(start_c=None, layers_c=[21] * 8))

    assert plain.content == layers.content


def test_films_given_as_numbers_make_a_narrower_band_than_a_named_setting(manager):
    named = manager.post(ADDRESS, json=asked(setting={"motion": "still"})).json()
    given = manager.post(ADDRESS, json=asked(exposure=FILMS)).json()

    assert given["high_c"][-1] - given["low_c"][-1] < named["high_c"][-1] - named["low_c"][-1]


def test_steps_of_five_minutes_are_understood_however_they_are_rounded(manager):
    answer = manager.post(ADDRESS, json=asked(hours=0.5, step_h=0.0833)).json()

    assert len(answer["h"]) == 7


def test_an_hour_shorter_than_the_usual_step_is_answered(manager):
    assert manager.post(ADDRESS, json=asked(hours=0.25)).json()["h"] == [0.0, 0.25]


@pytest.mark.parametrize("wrong", BAD)
def test_bad_input_is_answered_with_field_value_problem_and_mend(manager, wrong):
    body, fields = BAD[wrong]
    answer = manager.post(ADDRESS, content=json.dumps(body), headers=HEADERS)
    problem = answer.json()

    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    named = [error["field"] for error in problem["errors"]]
    assert named[: len(fields)] == fields
    for error in problem["errors"]:
        assert set(error) == {"field", "value", "problem", "mend"}
        assert error["mend"].endswith((".", "]."))


def test_a_fault_repeats_the_value_it_is_about(manager):
    points = [{"h": 0, "c": 4}, {"h": 1, "c": 4}, {"h": 2, "c": 4}, {"h": "3", "c": 4}]
    (error,) = manager.post(ADDRESS, json=asked(air_c=points)).json()["errors"]

    assert (error["field"], error["value"]) == ("air_c.3.h", "3")


@pytest.mark.parametrize(
    "field", ["net_kg", "step_h"], ids=["the heaviest drum", "the shortest step"]
)
def test_a_mend_that_is_followed_is_accepted(manager, field):
    wrong = asked(net_kg=319) if field == "net_kg" else asked(hours=743.9, step_h=0.08)
    (error,) = manager.post(ADDRESS, json=wrong).json()["errors"]
    number = float(error["mend"].split()[-2])

    assert error["field"] == field
    assert manager.post(ADDRESS, json=wrong | {field: number}).status_code == 200


def test_a_body_that_is_not_json_is_refused(manager):
    answer = manager.post(ADDRESS, content=b'{"side": "iso",', headers=HEADERS)

    assert answer.status_code == 422
    assert "is not JSON" in answer.json()["errors"][0]["problem"]


def test_a_body_of_ten_megabytes_is_refused(manager):
    body = json.dumps(asked(air_c=[{"h": 0, "c": 4}] * 600_000))
    assert len(body) > 10_000_000

    assert manager.post(ADDRESS, content=body, headers=HEADERS).status_code == 413


def test_the_api_describes_both_forms_of_air(manager):
    described = manager.get("/openapi.json").json()
    air = described["components"]["schemas"]["ForecastIn"]["properties"]["air_c"]

    assert {form.get("type") for form in air["anyOf"]} == {"number", "array"}
