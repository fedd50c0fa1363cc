"""What becomes of measurements, over HTTP and on the drum's page: before, after, and refused."""

import pytest

from drumkeep.domain.roles import Role
from tests.builders import catalogue
from tests.builders.stock import ago
from tests.fixtures.people import signed_in
from tests.fixtures.serving import serving
from tests.fixtures.yard import API, yard

__all__ = ["serving", "yard"]


@pytest.fixture
def tag(yard):
    """Give a drum at 18 °C in the hall, at 18 °C, for a day."""
    return yard.receive(at=ago(24.0), liquid_c=18.0)["tag"]


def met(yard, tag):
    return [event["met"] for event in yard.history(tag)["events"] if event["kind"] == "dipped"]


def test_a_dip_a_kelvin_off_moves_and_narrows_and_is_shown_with_before_and_after(yard, tag):
    before = yard.get(tag)["estimate"]
    answer = yard.record(tag, "dipped", c=19.0, height_m=0.4, at=ago(0.1))
    after = answer["drum"]["estimate"]

    (shown,) = met(yard, tag)
    assert shown == answer["event"]["met"]
    assert shown["use"] == "used"
    assert shown["measured_c"] == 19.0
    assert shown["computed_c"] == pytest.approx(18.0, abs=0.05)
    assert shown["innovation_k"] == pytest.approx(19.0 - shown["computed_c"])
    assert shown["computed_c"] < shown["after_c"] < 19.0
    assert after["mean_c"] > before["mean_c"]
    assert after["high_c"] - after["low_c"] < before["high_c"] - before["low_c"]
    assert after["basis"] == "measured"


def test_a_dip_six_kelvin_off_is_not_used_and_a_second_one_is_asked_for(yard, tag):
    before = yard.get(tag)["estimate"]
    refused = yard.record(tag, "dipped", c=12.0, at=ago(1.0))

    assert refused["event"]["met"]["use"] == "refused"
    assert refused["drum"]["estimate"]["mean_c"] == pytest.approx(before["mean_c"], abs=0.01)
    assert refused["drum"]["estimate"]["basis"] == "unsupported"
    readiness = refused["drum"]["readiness"]
    assert readiness["state"] == "unknown"
    assert any("measured" in reason for reason in readiness["reasons"])

    confirmed = yard.record(tag, "dipped", c=12.3, at=ago(0.5))
    assert confirmed["event"]["met"]["use"] == "confirmed"
    assert confirmed["drum"]["estimate"]["mean_c"] == pytest.approx(12.3, abs=0.4)
    assert confirmed["drum"]["estimate"]["basis"] == "measured"
    assert [shown["use"] for shown in met(yard, tag)] == ["refused", "confirmed"]


def test_a_dip_withdrawn_leaves_no_result(yard, tag):
    dip = yard.record(tag, "dipped", c=12.0, at=ago(1.0))["event"]["id"]
    yard.record(tag, "corrected", event=dip, void=True)

    assert met(yard, tag) == [None]
    assert yard.get(tag)["estimate"]["basis"] == "modelled"


def test_the_drum_page_says_what_became_of_a_dip(yard, serving, tag):
    yard.record(tag, "dipped", c=19.0, at=ago(2.0))
    yard.record(tag, "dipped", c=9.0, at=ago(0.1))
    with signed_in(serving, "viewer") as viewer:
        words = viewer.get(f"/drums/{tag}").words

    # 18 °C is 64.4 °F, 19 °C is 66.2 °F and 9 °C is 48.2 °F.
    assert "Computed 64.4 °F, measured 66.2 °F, now 6" in words.replace("\N{NO-BREAK SPACE}", " ")
    assert "Measured 48.2 °F where" in words.replace("\N{NO-BREAK SPACE}", " ")
    assert "Measure again" in words


def test_a_strap_is_told_in_the_history_and_on_the_page(yard, serving, tag):
    sensor = catalogue.sensor(
        mount={"what": "liquid", "drum": tag, "since": ago(5.0), "height_m": 0.3}, interval_s=900
    )
    made = yard.client.post(f"{API}/sensors", json=sensor)
    assert made.status_code == 201, made.text
    assert made.json()["mounts"][0]["height_m"] == 0.3
    yard.sensors["strap"] = sensor["name"]
    yard.publish("strap", c=18.4, first_h=4.5)
    yard.advance()

    straps = yard.history(tag)["straps"]
    assert {(s["sensor"], s["what"], s["use"]) for s in straps} == {
        (sensor["name"], "liquid", "used")
    }
    assert 4 <= len(straps) <= 5
    assert yard.get(tag)["estimate"]["mean_c"] > 18.1
    with signed_in(serving, "viewer", units="si") as viewer:
        words = viewer.get(f"/drums/{tag}").words.replace("\N{NO-BREAK SPACE}", " ")
    assert f"{sensor['name']}: Computed 18." in words
    assert "measured 18.4 °C" in words


def test_a_height_belongs_to_a_drum(yard):
    mount = {"what": "air", "place": yard.place("hall"), "height_m": 0.3}
    answer = yard.client.post(f"{API}/sensors", json=catalogue.sensor(mount=mount))

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "mount.height_m"


# Films of places


def test_the_film_of_a_place_is_as_named_until_somebody_says_otherwise(yard):
    answer = yard.client.get(f"{API}/places/{yard.place('dock')}/film")

    assert answer.status_code == 200
    assert answer.json()["now"] == {
        "factor": 1.0,
        "half_range": 1.25,
        "dips": 0,
        "source": "named",
        "since": None,
        "by": None,
        "recorded_at": None,
    }


def test_a_manager_pins_a_film_and_resets_it(yard):
    address = f"{API}/places/{yard.place('room')}/film"
    pinned = yard.client.put(address, json={"factor": 1.4})
    reset = yard.client.put(address, json={"reset": True})

    assert pinned.status_code == reset.status_code == 200
    assert (pinned.json()["now"]["source"], pinned.json()["now"]["factor"]) == ("pinned", 1.4)
    assert (reset.json()["now"]["source"], reset.json()["now"]["factor"]) == ("reset", 1.0)
    assert [said["source"] for said in reset.json()["history"]] == ["reset", "pinned"]


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "factor"),
        ({"factor": 1.0, "reset": True}, "factor"),
        ({"factor": 9.0}, "factor"),
        ({"factor": 1.1, "half_range": 5.0}, "half_range"),
        ({"factor": "much"}, "factor"),
    ],
)
def test_a_film_that_cannot_be_is_refused_by_its_field(yard, body, field):
    answer = yard.client.put(f"{API}/places/{yard.place('hall')}/film", json=body)

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == field


def test_only_a_manager_pins_a_film(yard, serving):
    with serving.client(Role.DISPATCHER) as dispatcher:
        answer = dispatcher.put(f"{API}/places/{yard.place('hall')}/film", json={"reset": True})

    assert answer.status_code == 403


def test_the_page_of_a_place_pins_and_resets_by_forms_alone(yard, serving):
    path = f"/places/{yard.place('van')}"
    with signed_in(serving, "manager") as mara:
        sent = mara.send(mara.fill(path, f"{path}/film", percent="130"))
        assert sent.status_code == 303, sent.text
        page = mara.get(path)
        assert "Pinned" in page.words
        assert "130" in page.words

        form = page.form(f"{path}/film", reset="yes")
        assert mara.send(form).status_code == 303
        assert "Reset" in mara.get(path).words

        pin = mara.get(path).form(f"{path}/film", percent="")
        pin.fields["percent"] = "900"
        refused = mara.send(pin)
        assert refused.status_code == 422
    with signed_in(serving, "crew") as crew:
        page = crew.get(path)
        assert "of the named film" in page.words
        assert not [form for form in page.forms if form.action.endswith("/film")]
