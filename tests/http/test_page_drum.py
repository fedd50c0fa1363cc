"""A drum's page over real HTTP: what it answers, what it lets whom record, and what comes of it.

Over 400 lines because every form of the one page is here.
"""

import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from drumkeep.domain.products import Side
from tests.builders.stock import ago
from tests.fixtures.elsewhere import make_elsewhere
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, nobody, serving
from tests.fixtures.yard import Yard

__all__ = ["manager", "nobody", "serving"]

NEW_YORK = ZoneInfo("America/New_York")

# One pound is 0.45359237 kg and one inch 0.0254 m, exactly; 1 psi is 6.894757 kPa
# (NIST SP 811 appendix B.8). 59 °F is 15 °C.
FORMS: dict[str, tuple[str, dict[str, str], dict[str, Any]]] = {
    "dip": ("dipped", {"temperature": "59", "height": "4"}, {"c": 15.0, "height_m": 0.1016}),
    "skin": ("skin", {"temperature": "59", "height": "20"}, {"c": 15.0, "height_m": 0.508}),
    "gross": (
        "weighed",
        {"mass": "500", "weighed_as": "gross", "resolution": "1"},
        {"gross_kg": 226.796185, "resolution_kg": 0.45359237},
    ),
    "net": ("weighed", {"mass": "400", "weighed_as": "net"}, {"net_kg": 181.436948}),
    "mix": ("agitated", {"minutes": "15"}, {"minutes": 15.0}),
    "gas": (
        "blanketed",
        {"gas": "nitrogen", "pressure": "2", "regulator": "yes"},
        {"gas": "nitrogen", "kpa": 13.789514, "regulator": True},
    ),
    "band": (
        "heated",
        {
            "device": "band",
            "watts": "1000",
            "until": "2099-01-01T00:00",
            "thermostat": "95",
            "height": "8",
        },
        {
            "device": "band",
            "watts": 1000.0,
            "until": "2099-01-01T05:00:00+00:00",
            "thermostat_c": 35.0,
            "height_m": 0.2032,
        },
    ),
    "look": (
        "inspected",
        {"reached_bottom": "yes", "solids": "none", "ring": "red"},
        {"reached_bottom": True, "solids": "none", "ring": "red"},
    ),
    "hold": ("held", {"reason": "dented"}, {"reason": "dented"}),
    "open": ("opened", {}, {}),
}
METRIC: dict[str, tuple[str, dict[str, str], dict[str, Any]]] = {
    "dip": ("dipped", {"temperature": "15", "height": "10.16"}, FORMS["dip"][2]),
    "skin": ("skin", {"temperature": "15", "height": "50.8"}, FORMS["skin"][2]),
    "gross": (
        "weighed",
        {"mass": "226.8", "weighed_as": "gross", "resolution": "0.5"},
        {"gross_kg": 226.8, "resolution_kg": 0.5},
    ),
    "gas": (
        "blanketed",
        {"gas": "dry air", "pressure": "14"},
        {"gas": "dry air", "kpa": 14.0},
    ),
}

OFFERED = {
    *("inspected", "dipped", "moved", "agitated", "opened", "vented", "blanketed", "weighed"),
    *("wanted", "skin", "held", "emptied", "decanted", "topped", "heated"),
}


@pytest.fixture(scope="module")
def yard(serving, manager) -> Yard:
    return make_elsewhere(
        serving, manager, site={"timezone": "America/New_York"}, air_c={"hall": 18.0, "room": 27.0}
    )


@pytest.fixture(scope="module")
def crew(serving) -> Iterator[Person]:
    with signed_in(serving, "crew") as person:
        yield person


@pytest.fixture(scope="module")
def boss(serving) -> Iterator[Person]:
    with signed_in(serving, "manager") as person:
        yield person


@pytest.fixture(scope="module")
def metric(serving) -> Iterator[Person]:
    with signed_in(serving, "crew", units="si") as person:
        yield person


@pytest.fixture(scope="module")
def still(yard) -> str:
    """Give a drum on which no test records anything."""
    found: str = yard.receive()["tag"]
    return found


@pytest.fixture
def tag(yard) -> str:
    found: str = yard.receive()["tag"]
    return found


def last_event(yard, tag):
    return yard.history(tag)["events"][-1]


def kinds(page: Page) -> set[str]:
    return {form.fields["kind"] for form in page.forms if form.action.endswith("/events")}


def local(moment: datetime) -> str:
    return f"{moment.astimezone(NEW_YORK):%Y-%m-%dT%H:%M}"


@pytest.mark.parametrize("case", FORMS)
def test_form_in_fahrenheit_pounds_inches_records_the_event_in_si(yard, crew, tag, case):
    kind, fields, data = FORMS[case]
    answer = crew.record(tag, kind, **fields, note="by the dock")
    assert answer.status_code == 303, Page(answer.text).words
    assert answer.headers["Location"] == f"/drums/{tag}"
    event = last_event(yard, tag)
    assert (event["kind"], event["note"]) == (kind, "by the dock")
    assert {name: event["data"][name] for name in data} == pytest.approx(data)
    assert "by the dock" in crew.get(f"/drums/{tag}").words


@pytest.mark.parametrize("case", METRIC)
def test_form_in_celsius_kilograms_centimetres_records_the_same(yard, metric, tag, case):
    kind, fields, data = METRIC[case]
    answer = metric.record(tag, kind, **fields)
    assert answer.status_code == 303, Page(answer.text).words
    event = last_event(yard, tag)
    assert {name: event["data"][name] for name in data} == pytest.approx(data)


def test_form_keeps_the_units_it_was_shown_in_though_the_person_switches_meanwhile(
    serving, yard, tag
):
    with signed_in(serving, "crew") as person:
        form = person.fill(
            f"/drums/{tag}", f"/drums/{tag}/events", kind="dipped", temperature="59", height="4"
        )
        person.send(person.fill("/me", "/me/units", units="si"))
        assert person.send(form).status_code == 303
    assert last_event(yard, tag)["data"]["c"] == pytest.approx(15.0)


def test_time_is_the_local_time_of_the_site(yard, crew, tag):
    moment = datetime.now(UTC).replace(second=0, microsecond=0) - timedelta(minutes=20)  # noqa: TID251
    crew.record(tag, "dipped", temperature="64", height="4", at=local(moment))
    assert datetime.fromisoformat(last_event(yard, tag)["at"]) == moment


def test_wanted_time_is_local_in_summer_and_in_winter(yard, boss, tag):
    # Eastern time: UTC-4 in July, UTC-5 in January (15 U.S.C. 260a).
    year = datetime.now(UTC).year + 2  # noqa: TID251 - the real service reads the real clock
    for written, utc in (
        (f"{year}-07-01T06:00", "T10:00:00Z"),
        (f"{year}-01-15T06:00", "T11:00:00Z"),
    ):
        assert boss.record(tag, "wanted", wanted_at=written, output="under_20").status_code == 303
        assert yard.get(tag)["wanted_at"] == written[:10] + utc
        assert yard.get(tag)["readiness"]["output"] == "under_20"
        page = boss.get(f"/drums/{tag}")
        assert "Wanted" in page.words
        assert page.form(f"/drums/{tag}/events", kind="wanted").fields["output"] == "under_20"
    withdrawn = boss.record(tag, "wanted", wanted_at="", withdrawn="yes")
    assert withdrawn.status_code == 303
    assert yard.get(tag)["wanted_at"] is None


def test_move_offers_every_other_place_and_none_it_is_in(yard, crew, tag):
    form = crew.get(f"/drums/{tag}").form(f"/drums/{tag}/events", kind="moved")
    assert yard.place("hall") not in form.choices["to"]
    assert {yard.place(name) for name in ("dock", "room", "van")} <= set(form.choices["to"])
    assert crew.record(tag, "moved", to=yard.place("room")).status_code == 303
    assert yard.get(tag)["place"] == yard.place("room")


BAD = {
    "a number": ("dipped", {"temperature": "warm", "height": "4"}, "Temperature", "warm", "61.5"),
    "a height": ("dipped", {"temperature": "60", "height": "99"}, "Height", "99 in", "in"),
    "too hot": ("dipped", {"temperature": "400", "height": "4"}, "Temperature", "400 °F", "203 °F"),
    "a weight": ("weighed", {"mass": "3", "weighed_as": "gross"}, "Weight", "3 lb", "40 lb"),
    "a heavy one": ("weighed", {"mass": "800", "weighed_as": "net"}, "Weight", "800 lb", "lb"),
    "minutes": ("agitated", {"minutes": "-5"}, "For how long", "-5 min", "more than 0 min"),
    "no minutes": ("agitated", {"minutes": ""}, "For how long", "", "Add it"),
    "a pressure": (
        "blanketed",
        {"gas": "nitrogen", "pressure": "9"},
        "pressure",
        "9 psi",
        "2.9 psi",
    ),
    "a time": ("opened", {"at": "noon"}, "When", "noon", "2026-01-31T05:00"),
    "a far time": ("opened", {"at": "2099-01-01T00:00"}, "When", "2099-01-01T00:00", "up to now"),
    "no end of heat": ("heated", {"until": ""}, "Until", "", "the day and the time"),
    "a band in the air": (
        "heated",
        {"device": "band", "watts": "900", "until": "2099-01-01T00:00", "height": "36"},
        "Height above the bottom",
        "36 in",
        "Put the band lower",
    ),
    "a heater of nothing": (
        "heated",
        {"device": "base", "watts": "0", "until": "2099-01-01T00:00"},
        "Its power",
        "0 W",
        "Give its watts",
    ),
    "no wanted time": ("wanted", {"wanted_at": ""}, "Ready by", "", "the day and the time"),
    "no reason": ("held", {"reason": ""}, "Why", "", "at least 1"),
    "no place": ("moved", {"to": "nowhere/none"}, "To", "nowhere/none", "."),
    "no finding": ("inspected", {"solids": "many"}, "Solids", "many", "seen"),
    "another kind": ("fried", {}, "What you did", "fried", "Use one of"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_be_recorded_is_told_with_field_value_mend_and_a_way_back(
    yard, crew, still, case
):
    kind, fields, label, value, mend = BAD[case]
    tag = still
    before = len(yard.history(tag)["events"])
    known = kind if kind != "fried" else "opened"
    form = crew.fill(f"/drums/{tag}", f"/drums/{tag}/events", kind=known)
    form.fields |= fields | {"kind": kind}
    answer = crew.send(form)
    page = Page(answer.text)
    assert answer.status_code == 422, page.words
    for part in (label, value, mend, "Go back"):
        assert part in page.words.replace("\N{NO-BREAK SPACE}", " "), page.words
    assert page.all("a")[-1]["href"] == f"/drums/{tag}"
    assert len(yard.history(tag)["events"]) == before


@pytest.mark.parametrize("at", ["now", "told"])
def test_form_sent_twice_records_once(yard, crew, tag, at):
    moment = datetime.now(UTC) - timedelta(minutes=5)  # noqa: TID251 - as above
    when = "" if at == "now" else local(moment)
    form = crew.fill(
        f"/drums/{tag}", f"/drums/{tag}/events", kind="agitated", minutes="15", at=when
    )
    before = len(yard.history(tag)["events"])
    assert crew.send(form).status_code == 303
    time.sleep(1.1)  # a time of its own, to the second, for the second press
    assert crew.send(form).status_code == 303
    assert len(yard.history(tag)["events"]) == before + 1


def test_form_that_waited_for_a_connection_tells_of_when_it_was_filled_in(yard, crew, tag):
    path = f"/drums/{tag}"
    form = crew.fill(path, f"{path}/events", kind="agitated", minutes="15", ago_s="3000")
    assert crew.send(form).status_code == 303
    (event,) = (e for e in yard.history(tag)["events"] if e["kind"] == "agitated")
    age = datetime.now(UTC) - datetime.fromisoformat(event["at"])  # noqa: TID251 - as above
    assert 3000.0 <= age.total_seconds() < 3030.0

    for ago_s in ("x", "-90000", "1e3"):
        bad = crew.fill(path, f"{path}/events", kind="agitated", minutes="15", ago_s=ago_s)
        assert crew.send(bad).status_code == 422


def test_form_of_one_drum_sent_for_another_is_refused(yard, crew, tag):
    other = yard.receive()["tag"]
    form = crew.fill(f"/drums/{tag}", f"/drums/{tag}/events", kind="opened")
    assert crew.send(form).status_code == 303
    form.action = f"/drums/{other}/events"
    assert crew.send(form).status_code == 409
    assert [event["kind"] for event in yard.history(other)["events"]] == ["received"]


@pytest.mark.parametrize("role", ["manager", "dispatcher", "crew", "viewer"])
def test_page_offers_each_role_what_it_may_do_and_refuses_the_rest(serving, yard, role):
    plain, held = (yard.receive()["tag"] for _ in range(2))
    yard.record(held, "held", reason="x")
    with signed_in(serving, role) as person:
        offered = kinds(person.get(f"/drums/{plain}"))
        released = kinds(person.get(f"/drums/{held}"))
        csrf = person.csrf()
        refused = {"released", "disposed"} if role != "manager" else set()
        if role == "viewer":
            assert offered == released == set()
            refused |= OFFERED
        else:
            own = {"disposed"} if role == "manager" else set()
            assert offered == OFFERED | own
            assert released == OFFERED - {"held"} | own | ({"released"} if own else set())
        for kind in refused:
            fields = {"csrf": csrf, "id": str(uuid4()), "kind": kind, "reason": "y"}
            answer = person.client.post(f"/drums/{held}/events", data=fields)
            assert answer.status_code == 403, kind
            assert role in Page(answer.text).words
        assert len(yard.history(held)["events"]) == 2
        alarms = person.get("/alarms")
        assert ("/acknowledge" in " ".join(form.action for form in alarms.forms)) <= (
            role != "viewer"
        )


def test_opened_drum_is_offered_to_be_resealed_and_not_to_be_opened(yard, crew, tag):
    yard.record(tag, "opened")
    offered = kinds(crew.get(f"/drums/{tag}"))
    assert "resealed" in offered
    assert not offered & {"opened", "vented"}


def test_bulged_drum_may_be_looked_at_held_and_released_and_nothing_else(yard, boss, tag):
    yard.record(tag, "inspected", bulge="seen")
    page = boss.get(f"/drums/{tag}")
    assert "Bulged: step away and call" in page.words
    assert kinds(page) == {"inspected", "wanted", "skin"}
    assert "Record a look that finds no bulge first." in page.words
    moved = {"csrf": boss.csrf(), "id": str(uuid4()), "kind": "moved", "to": yard.place("room")}
    assert boss.client.post(f"/drums/{tag}/events", data=moved).status_code == 409
    boss.record(tag, "inspected", bulge="none")
    assert "released" in kinds(boss.get(f"/drums/{tag}"))


def test_drum_under_pressure_may_not_be_opened_or_moved(yard, boss):
    # Resin at 60 °C: any model of its agent is far over 50 kPa there (domain.md section 3).
    tag = yard.receive(product=yard.resin, liquid_c=60.0, at=ago(0.2))["tag"]
    assert "overpressure" in yard.get(tag)["conditions"]
    page = boss.get(f"/drums/{tag}")
    assert "Under pressure: do not open or move" in page.words
    assert kinds(page) == {"inspected", "wanted", "skin", "held"}
    assert "Not now." in page.words


def test_drum_that_is_gone_says_so_and_offers_nothing(boss, crew, tag):
    assert crew.record(tag, "emptied").status_code == 303
    page = boss.get(f"/drums/{tag}")
    assert "Emptied" in page.words
    assert "Ready for" not in page.words
    assert kinds(page) == set()
    assert tag not in boss.get("/floor/table").words
    fields = {"csrf": boss.csrf(), "id": str(uuid4()), "kind": "opened"}
    answer = boss.client.post(f"/drums/{tag}/events", data=fields)
    assert answer.status_code == 409
    assert "emptied" in Page(answer.text).words
    assert boss.client.get(f"/drums/{tag}/chart.json").status_code == 200


def test_drum_of_which_nothing_is_known_has_a_page_a_chart_and_advice(yard, boss):
    tag = yard.receive(place=yard.place("van"), liquid_c=None)["tag"]
    assert yard.get(tag)["estimate"] is None
    page = boss.get(f"/drums/{tag}")
    assert "Not known: do not use it yet" in page.words
    assert "Dip the liquid and record it." in page.words
    drawing = boss.client.get(f"/drums/{tag}/chart.json").json()
    assert drawing["doc"]["roots"]


@pytest.mark.parametrize("page", ["drums", "d"])
def test_tag_typed_another_way_leads_to_the_page(crew, still, page):
    for way in (still.lower(), still.replace("-", ""), f"%20{still[:3]}%20{still[4:]}"):
        assert still in crew.get(f"/{page}/{way}").words


@pytest.mark.parametrize("page", ["drums/{}", "d/{}", "drums/{}/qr.svg"])
def test_tag_that_is_none_or_nobodys_is_explained(crew, still, page):
    wrong = still[:-1] + ("A" if still[-1] != "A" else "B")
    assert "does not add up" in crew.get("/" + page.format(wrong), status=422).words
    assert "A-Z and 2-9" in crew.get("/" + page.format("K7Q-X0M"), status=422).words
    assert "No drum bears this tag." in crew.get("/" + page.format("AAA-AAA"), status=404).words


def test_why_we_say_so_names_each_limit_with_its_origin(yard, crew):
    for product, side in ((yard.iso, Side.ISO), (yard.resin, Side.RESIN)):
        page = crew.get(f"/drums/{yard.receive(product=product)['tag']}")
        assert "common practice, no source" in page.words
        assert ("Seeding" in page.words) == (side is Side.ISO)
        assert ("Gassing above" in page.words) == (side is Side.RESIN)


def test_page_says_things_once(yard, boss):
    cold = yard.receive(liquid_c=3.0, at=ago(5.0))["tag"]
    warm = yard.receive(product=yard.resin, liquid_c=28.0)["tag"]
    for tag in (cold, warm):
        words = boss.get(f"/drums/{tag}").words.partition("How it went")[0]
        assert "The safety data sheet" in words
        sentences = [part.strip() for part in words.split(". ") if len(part) > 40]
        assert len(sentences) == len(set(sentences)), sentences
