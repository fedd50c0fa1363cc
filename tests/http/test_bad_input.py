"""Bad fields: a problem that names field, value and mend; no 5xx; nothing stored."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.builders import catalogue as build
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.serving import manager, serving

__all__ = ["manager", "serving"]
pytestmark = pytest.mark.usefixtures("ground")
API = "/api/v1"
FOUND = {"code": "found", "name": "Found", "timezone": "UTC"}


@pytest.fixture(scope="module")
def ground(manager):
    """Make what the bodies below refer to, once."""
    for noun, body in [
        ("sites", FOUND),
        ("sites", FOUND | {"code": "other"}),
        ("places", build.place("found", code="hall")),
        ("places", build.place("found", code="nook", inside="found/hall")),
        ("places", build.place("other", code="hall")),
        ("products", build.product(code="iso-1")),
        ("lots", build.lot("iso-1", code="2231")),
        ("gateways", build.gateway("found", code="attic", urn="urn:dev:os:32473-attic")),
        ("sensors", build.sensor(name="probe:1")),
        ("accounts", build.account(name="kim")),
        ("tokens", build.token(name="kept")),
    ]:
        answer = manager.post(f"{API}/{noun}", json=body)
        assert answer.status_code == 201, answer.text


SITE = {"code": "new", "name": "New", "timezone": "UTC"}
PLACE = {"site": "found", "code": "new", "name": "New", "kind": "warehouse"}
PRODUCT = {"code": "new", "name": "New", "side": "iso"}
LOT = {"product": "iso-1", "code": "new", "made_on": "2026-01-15"}
GATEWAY = {"site": "found", "code": "new", "urn": "urn:dev:os:32473-new"}
SENSOR = {"name": "probe:2", "quantity": "temperature", "interval_s": 60}
ACCOUNT = {"name": "new", "display_name": "New", "role": "crew", "password": "long enough, this"}
TOKEN = {"name": "new", "role": "viewer"}
RESIN = PRODUCT | {"side": "resin"}
WARM = PLACE | {"kind": "warm_room"}
MOUNT = {"what": "air", "place": "found/hall"}

# noun, a body that is valid but for the changes, the changes, status, field of the fault
CREATIONS: list[tuple[str, dict[str, Any], dict[str, Any], int, str]] = [
    # wrong types
    ("sites", SITE, {"code": 7}, 422, "code"),
    ("sites", SITE, {"name": None}, 422, "name"),
    ("sites", SITE, {"altitude_m": "250"}, 422, "altitude_m"),
    ("sites", SITE, {"altitude_m": True}, 422, "altitude_m"),
    ("places", PLACE, {"capacity": 2.5}, 422, "capacity"),
    ("places", PLACE, {"capacity": "2"}, 422, "capacity"),
    ("products", PRODUCT, {"properties": []}, 422, "properties"),
    ("products", PRODUCT, {"properties": {"density_kg_m3": "1230"}}, 422,
     "properties.density_kg_m3"),
    ("products", PRODUCT, {"properties": {"viscosity_points": "25: 200"}}, 422,
     "properties.viscosity_points"),
    ("products", PRODUCT, {"properties": {"viscosity_points": [[15, "410"]]}}, 422,
     "properties.viscosity_points.0"),
    ("products", PRODUCT, {"properties": {"viscosity_points": [[15, 410, 1]]}}, 422,
     "properties.viscosity_points.0"),
    ("products", PRODUCT, {"properties": {"viscosity_points": [[15, 410], [15, 410]]}}, 422,
     "properties.viscosity_points"),
    ("products", PRODUCT, {"properties": {"viscosity_points": [[15, 200], [25, 410]]}}, 422,
     "properties.viscosity_points"),
    ("products", PRODUCT, {"properties": {"viscosity_points": [[150, 200]]}}, 422,
     "properties.viscosity_points.0"),
    ("products", PRODUCT, {"properties": {"density_points": [[15, 1230], [25, 1240]]}}, 422,
     "properties.density_points"),
    ("products", PRODUCT, {"properties": {"conductivity_points": [[20, 0.2], [25, 0.1]]}}, 422,
     "properties.conductivity_points"),
    ("sensors", SENSOR, {"mount": "found/hall"}, 422, "mount"),
    ("tokens", TOKEN, {"expires_at": 1893456000}, 422, "expires_at"),
    ("accounts", ACCOUNT, {"password": 1234567890}, 422, "password"),
    # missing, unknown
    ("sites", SITE, {"nmae": "x"}, 422, "nmae"),
    ("sensors", SENSOR, {"mount": MOUNT | {"hight_m": 1}}, 422, "mount.hight_m"),
    # units
    ("sensors", SENSOR, {"unit": "degF"}, 422, "unit"),
    ("sensors", SENSOR, {"unit": "%RH"}, 422, "unit"),
    ("sensors", SENSOR, {"quantity": "heat"}, 422, "quantity"),
    ("accounts", ACCOUNT, {"units": "imperial"}, 422, "units"),
    # range
    ("sites", SITE, {"altitude_m": 9000}, 422, "altitude_m"),
    ("places", WARM, {"set_point_c": 80}, 422, "set_point_c"),
    ("places", WARM, {"set_point_c": -5}, 422, "set_point_c"),
    ("places", PLACE, {"set_point_c": 25}, 422, "set_point_c"),
    ("places", PLACE, {"capacity": 0}, 422, "capacity"),
    ("products", PRODUCT, {"properties": {"density_kg_m3": 12}}, 422, "properties.density_kg_m3"),
    ("products", PRODUCT, {"limits": {"maximum_c": 400}}, 422, "limits.maximum_c"),
    ("products", PRODUCT, {"limits": {"use_high_c": 5}}, 422, "limits.use_low_under_20_c"),
    ("sensors", SENSOR, {"interval_s": 0}, 422, "interval_s"),
    ("sensors", SENSOR, {"error_k": -1}, 422, "error_k"),
    ("sensors", SENSOR, {"calibration": {"gain": 0}}, 422, "calibration.gain"),
    ("sensors", SENSOR, {"calibration": {"offset": 300}}, 422, "calibration.offset"),
    ("accounts", ACCOUNT, {"password": "short"}, 422, "password"),
    # times and days
    ("tokens", TOKEN, {"expires_at": "2030-01-31T05:00:00"}, 422, "expires_at"),
    ("tokens", TOKEN, {"expires_at": "2030-01-31"}, 422, "expires_at"),
    ("tokens", TOKEN, {"expires_at": "2030-13-31T05:00:00Z"}, 422, "expires_at"),
    ("tokens", TOKEN, {"expires_at": "0001-01-01T00:00:00+14:00"}, 422, "expires_at"),
    ("tokens", TOKEN, {"expires_at": "2020-01-31T05:00:00Z"}, 422, "expires_at"),
    ("sensors", SENSOR, {"mount": MOUNT | {"since": "2026-01-31T05:00:00"}}, 422, "mount.since"),
    ("lots", LOT, {"made_on": "2026-01-15T00:00:00Z"}, 422, "made_on"),
    ("lots", LOT, {"made_on": 20260115}, 422, "made_on"),
    ("lots", LOT, {"made_on": "2099-01-15"}, 422, "made_on"),
    ("lots", LOT, {"made_on": "2026-02-30"}, 422, "made_on"),
    ("lots", LOT, {"expires_on": "2026-01-15"}, 422, "expires_on"),
    # words that are not known
    ("sites", SITE, {"timezone": "Mars/Olympus"}, 422, "timezone"),
    ("sites", SITE, {"timezone": "../etc/passwd"}, 422, "timezone"),
    ("sites", SITE, {"timezone": "America"}, 422, "timezone"),
    ("sites", SITE, {"output_class": "from_30"}, 422, "output_class"),
    ("places", PLACE, {"kind": "attic"}, 422, "kind"),
    ("places", PLACE, {"motion": "stormy"}, 422, "motion"),
    ("places", PLACE, {"standing": "water"}, 422, "standing"),
    ("places", PLACE, {"crowding": "many"}, 422, "crowding"),
    ("places", PLACE, {"sun": "bright"}, 422, "sun"),
    ("places", PLACE, {"sun": True}, 422, "sun"),  # of a warehouse
    ("places", PLACE, {"wind_m_s": 3.0}, 422, "wind_m_s"),  # in still air
    ("places", PLACE, {"motion": "windy", "wind_m_s": 90.0}, 422, "wind_m_s"),
    ("places", PLACE, {"motion": "windy", "wind_m_s": 0.0}, 422, "wind_m_s"),
    ("places", PLACE, {"absorptance": 1.5}, 422, "absorptance"),
    ("places", PLACE, {"absorptance": "dark"}, 422, "absorptance"),
    ("products", PRODUCT, {"side": "C"}, 422, "side"),
    ("products", PRODUCT, {"cell": "open"}, 422, "cell"),
    ("products", RESIN, {"cell": "half"}, 422, "cell"),
    ("products", RESIN, {"limits": {"colour": 1}}, 422, "limits.colour"),
    ("products", RESIN, {"origins": {"colour": "sheet"}}, 422, "origins.colour"),
    ("products", RESIN, {"properties": {"agent": "water"}}, 422, "properties.agent"),
    ("accounts", ACCOUNT, {"role": "boss"}, 422, "role"),
    ("tokens", TOKEN, {"role": "boss"}, 422, "role"),
    # names and codes
    ("sites", SITE, {"code": "North Shed"}, 422, "code"),
    ("sites", SITE, {"code": "a/b"}, 422, "code"),
    ("sites", SITE, {"code": "x" * 41}, 422, "code"),
    ("sites", SITE, {"name": "  "}, 422, "name"),
    ("sites", SITE, {"name": ""}, 422, "name"),
    ("sites", SITE, {"name": "two\nlines"}, 422, "name"),
    ("sites", SITE, {"name": "x" * 121}, 422, "name"),
    ("sites", SITE, {"name": "x" * 201}, 422, "name"),
    ("gateways", GATEWAY, {"code": "alarms"}, 422, "code"),
    ("gateways", GATEWAY, {"urn": "attic"}, 422, "urn"),
    ("gateways", GATEWAY, {"urn": "urn:dev:os:32473 attic"}, 422, "urn"),
    ("sensors", SENSOR, {"name": "_x"}, 422, "name"),
    ("sensors", SENSOR, {"name": ":x"}, 422, "name"),
    ("sensors", SENSOR, {"name": "a b"}, 422, "name"),
    ("sensors", SENSOR, {"name": "temp#1"}, 422, "name"),
    ("lots", LOT, {"code": "22 31"}, 422, "code"),
    # references to what is not there
    ("places", PLACE, {"site": "nowhere"}, 422, "site"),
    ("places", PLACE, {"inside": "found/nowhere"}, 422, "inside"),
    ("places", PLACE, {"inside": "hall"}, 422, "inside"),
    ("places", PLACE, {"inside": "other/hall"}, 422, "inside"),
    ("lots", LOT, {"product": "nothing"}, 422, "product"),
    ("gateways", GATEWAY, {"site": "nowhere"}, 422, "site"),
    ("sensors", SENSOR, {"gateway": "found/nothing"}, 422, "gateway"),
    ("sensors", SENSOR, {"gateway": "attic"}, 422, "gateway"),
    # there already
    ("sites", SITE, {"code": "found"}, 409, "code"),
    ("places", PLACE, {"code": "hall"}, 409, "code"),
    ("products", PRODUCT, {"code": "iso-1"}, 409, "code"),
    ("lots", LOT, {"code": "2231"}, 409, "code"),
    ("gateways", GATEWAY, {"code": "attic"}, 409, "code"),
    ("gateways", GATEWAY, {"urn": "urn:dev:os:32473-attic"}, 409, "urn"),
    ("sensors", SENSOR, {"name": "probe:1"}, 409, "name"),
    ("accounts", ACCOUNT, {"name": "kim"}, 409, "name"),
    ("tokens", TOKEN, {"name": "kept"}, 409, "name"),
    # what breaks databases, logs and browsers
    ("sites", SITE, {"name": "a\x00b"}, 422, "name"),
    ("sites", SITE, {"name": "\ud800"}, 422, "name"),
    ("sites", SITE, {"name": "x" * 20_000}, 422, "name"),
    ("places", PLACE, {"capacity": 2**31}, 422, "capacity"),
    ("places", PLACE, {"capacity": 2**63}, 422, "capacity"),
    ("places", PLACE, {"capacity": 10**400}, 422, "capacity"),
    ("sites", SITE, {"altitude_m": 10**400}, 422, "altitude_m"),
    ("products", PRODUCT, {"properties": {"net_kg": 10**30}}, 422, "properties.net_kg"),
]  # fmt: skip


@pytest.mark.parametrize("case", CREATIONS)
def test_what_cannot_be_made_is_refused_and_not_stored(serving, manager, case):
    noun, body, changes, status, field = case
    before = stored(serving)

    answer = manager.post(
        f"{API}/{noun}",
        content=json.dumps(body | changes),
        headers={"Content-Type": "application/json"},
    )

    check_problem(answer, status, field)
    assert stored(serving) == before


@pytest.mark.parametrize(
    ("noun", "body"),
    [
        ("sites", SITE),
        ("places", PLACE),
        ("products", PRODUCT),
        ("lots", LOT),
        ("gateways", GATEWAY),
        ("sensors", SENSOR),
        ("accounts", ACCOUNT),
        ("tokens", TOKEN),
    ],
)
def test_each_missing_field_is_named_and_its_neighbours_not_repeated(manager, noun, body):
    for left_out in body:
        rest = {name: value for name, value in body.items() if name != left_out}

        fault = check_problem(manager.post(f"{API}/{noun}", json=rest), 422, left_out)

        assert fault["value"] is None


@pytest.mark.parametrize(
    ("address", "changes", "status", "field"),
    [
        ("sites/found", {"code": "moved"}, 422, "code"),
        ("sites/found", {"name": None}, 422, "name"),
        ("sites/found", {"timezone": "UTC+6"}, 422, "timezone"),
        ("sites/nowhere", {"name": "x"}, 404, "site"),
        ("places/found/hall", {"inside": "found/hall"}, 422, "inside"),
        ("places/found/hall", {"inside": "found/nook"}, 422, "inside"),
        ("places/found/hall", {"inside": "other/hall"}, 422, "inside"),
        ("places/found/hall", {"kind": "cellar"}, 422, "kind"),
        ("places/found/hall", {"set_point_c": 25.0}, 422, "set_point_c"),
        ("places/found/nowhere", {"name": "x"}, 404, "place"),
        ("products/iso-1", {"side": "resin"}, 422, "side"),
        ("products/iso-1", {"limits": {"seed_c": 1.0}}, 422, "limits.deep_seed_c"),
        ("products/nothing", {"name": "x"}, 404, "product"),
        ("lots/iso-1/2231", {"made_on": "2126-01-01"}, 422, "made_on"),
        ("lots/iso-1/nothing", {"made_on": "2026-01-01"}, 404, "lot"),
        ("gateways/found/attic", {"urn": "attic"}, 422, "urn"),
        ("gateways/found/nothing", {"urn": "urn:dev:os:1"}, 404, "gateway"),
        ("sensors/probe:1", {"interval_s": None}, 422, "interval_s"),
        ("sensors/probe:1", {"quantity": "humidity"}, 422, "quantity"),
        ("sensors/probe:1", {"gateway": "found/nothing"}, 422, "gateway"),
        ("sensors/probe:1", {"mount": None}, 409, "mount"),
        ("sensors/probe:9", {"interval_s": 60}, 404, "sensor"),
        ("accounts/9999", {"role": "crew"}, 404, "account"),
        ("accounts/0", {"role": "crew"}, 404, None),
        ("accounts/99999999999999999999", {"role": "crew"}, 404, None),
        ("accounts/1", {"disabled": "yes"}, 422, "disabled"),
        ("tokens/9999", {"revoked": True}, 404, "token"),
        ("tokens/1", {"revoked": 1}, 422, "revoked"),
    ],
)
def test_what_cannot_be_changed_is_refused_and_left_as_it_was(
    manager, address, changes, status, field
):
    before = manager.get(f"{API}/{address}").text

    check_problem(manager.patch(f"{API}/{address}", json=changes), status, field)

    after = manager.get(f"{API}/{address}")
    if after.status_code == 200:
        assert after.text == before


@pytest.mark.parametrize(
    ("address", "status", "field"),
    [
        ("sites?limit=0", 422, "limit"),
        ("sites?limit=201", 422, "limit"),
        ("sites?limit=ten", 422, "limit"),
        ("sites?limit=99999999999999999999", 422, "limit"),
        ("sites?cursor=x", 422, "cursor"),
        ("sites?cursor=%C3%BF", 422, "cursor"),
        ("sites?cursor=%00", 422, "cursor"),
        ("sites?cursor=" + "A" * 500, 422, "cursor"),
        ("sites?size=3", 422, "size"),
        ("places?site=nowhere", 422, "site"),
        ("places?kind=attic", 422, "kind"),
        ("products?side=C", 422, "side"),
        ("lots?product=nothing", 422, "product"),
        ("sensors?place=hall", 422, "place"),
        ("sites/nowhere", 404, "site"),
        ("sites/a%00b", 422, "path"),
        ("lots/iso-1/%ED%A0%80", 404, "lot"),
        ("sensors/" + "x" * 20_000, 422, "path"),
        ("nothing", 404, None),
        ("sites/", 404, None),
    ],
)
def test_what_cannot_be_asked_for_is_refused(manager, address, status, field):
    check_problem(manager.get(f"{API}/{address}"), status, field)


def test_one_request_tells_all_that_is_wrong(manager):
    body = SITE | {"code": "No Code", "timezone": "UTX", "altitude_m": 1e6}

    answer = manager.post(f"{API}/sites", json=body)

    assert [f["field"] for f in answer.json()["errors"]] == ["code", "timezone", "altitude_m"]


def test_a_time_without_a_zone_says_how_to_write_it(manager):
    body = TOKEN | {"expires_at": "2030-01-31T05:00:00"}

    fault = check_problem(manager.post(f"{API}/tokens", json=body), 422, "expires_at")

    assert fault["value"] == "2030-01-31T05:00:00"
    assert fault["problem"] == "has no time zone"
    assert fault["mend"] == "Write it as 2026-01-31T05:00:00Z."


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=30),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=8,
)
# Some of these are made after all: under names that no other test needs to be free.
BODIES = [
    ("sites", SITE | {"code": "any"}),
    ("places", PLACE | {"code": "any"}),
    ("products", PRODUCT | {"code": "any"}),
    ("lots", LOT | {"code": "any"}),
    ("gateways", GATEWAY | {"code": "any", "urn": "urn:dev:os:32473-any"}),
    ("sensors", SENSOR | {"name": "any", "mount": MOUNT, "calibration": {"gain": 1.0}}),
    ("accounts", ACCOUNT | {"name": "any"}),
    ("tokens", TOKEN | {"name": "any"}),
]


@given(data=st.data())
def test_no_value_in_any_field_breaks_the_service(manager, data):
    noun, body = data.draw(st.sampled_from(BODIES))
    field = data.draw(st.sampled_from(sorted(body)))
    content = json.dumps(body | {field: data.draw(anything)})

    answer = manager.post(
        f"{API}/{noun}", content=content, headers={"Content-Type": "application/json"}
    )

    assert answer.status_code in {201, 400, 409, 422}, answer.text
    if answer.status_code != 201:
        check_problem(answer, answer.status_code, None)
