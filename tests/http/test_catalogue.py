"""The catalogue over HTTP: made, listed, looked at, changed."""

import httpx
import pytest

from tests.builders import catalogue as build
from tests.fixtures.serving import manager, nobody, serving

__all__ = ["manager", "nobody", "serving"]
API = "/api/v1"


def made(client: httpx.Client, noun: str, body: build.Body) -> build.Body:
    answer = client.post(f"{API}/{noun}", json=body)
    assert answer.status_code == 201, answer.text
    assert client.get(answer.headers["Location"]).json() == answer.json()
    result: build.Body = answer.json()
    return result


def patched(client: httpx.Client, address: str, body: build.Body) -> build.Body:
    answer = client.patch(f"{API}/{address}", json=body)
    assert answer.status_code == 200, answer.text
    assert client.get(f"{API}/{address}").json() == answer.json()
    result: build.Body = answer.json()
    return result


def test_a_site_is_made_and_changed(manager):
    site = made(manager, "sites", build.site(altitude_m=250.5))
    assert site["output_class"] == "from_20"

    changed = patched(manager, f"sites/{site['code']}", {"output_class": "under_20"})

    assert changed == site | {"output_class": "under_20"}


def test_a_place_takes_motion_and_standing_from_its_kind(manager):
    site = made(manager, "sites", build.site())["code"]

    van = made(manager, "places", build.place(site, kind="vehicle"))
    yard = made(manager, "places", build.place(site, kind="yard", motion="still"))

    assert (van["motion"], van["standing"]) == ("fan", "truck_floor")
    assert (yard["motion"], yard["standing"]) == ("still", "pallet")


def test_a_place_may_sit_in_another_and_be_taken_out(manager):
    site = made(manager, "sites", build.site())["code"]
    hall = made(manager, "places", build.place(site))
    room = made(
        manager,
        "places",
        build.place(site, kind="warm_room", inside=hall["place"], set_point_c=26.5, capacity=12),
    )
    assert room["inside"] == hall["place"]

    changed = patched(manager, f"places/{room['place']}", {"inside": None, "capacity": None})

    assert changed == room | {"inside": None, "capacity": None}


def test_a_new_kind_brings_its_motion_and_standing(manager):
    site = made(manager, "sites", build.site())["code"]
    hall = made(manager, "places", build.place(site))

    changed = patched(manager, f"places/{hall['place']}", {"kind": "dock"})

    assert (changed["motion"], changed["standing"]) == ("moving", "slab")


def test_a_yard_may_lie_in_wind_and_sun_with_its_drums_close_together(manager):
    site = made(manager, "sites", build.site())["code"]
    weather = {"motion": "windy", "wind_m_s": 9.0, "crowding": "four", "sun": True}
    yard = made(manager, "places", build.place(site, kind="yard", absorptance=0.25, **weather))
    assert yard | weather | {"absorptance": 0.25} == yard

    changed = patched(
        manager, f"places/{yard['place']}", {"wind_m_s": None, "sun": False, "crowding": "block"}
    )

    assert changed == yard | {"wind_m_s": None, "sun": False, "crowding": "block"}


def test_a_place_is_calm_shaded_and_uncrowded_unless_it_is_said(manager):
    site = made(manager, "sites", build.site())["code"]
    hall = made(manager, "places", build.place(site))

    assert (hall["wind_m_s"], hall["sun"], hall["crowding"]) == (None, False, "alone")
    assert hall["absorptance"] is None


def test_a_yard_that_gets_a_roof_has_neither_sun_nor_its_wind(manager):
    site = made(manager, "sites", build.site())["code"]
    yard = made(
        manager, "places", build.place(site, kind="yard", motion="windy", wind_m_s=9.0, sun=True)
    )

    changed = patched(manager, f"places/{yard['place']}", {"kind": "warehouse"})

    assert (changed["motion"], changed["wind_m_s"], changed["sun"]) == ("still", None, False)


def test_a_product_shows_its_overrides_and_what_holds(manager):
    product = made(
        manager,
        "products",
        build.product(
            side="resin",
            limits={"use_low_from_20_c": 22.5},
            origins={"use_low_from_20_c": "data sheet of 2026, page 2"},
        ),
    )

    assert product["cell"] == "closed"
    assert product["limits"] == {"use_low_from_20_c": 22.5}
    held = product["in_force"]
    assert held["limits"]["use_low_from_20_c"] == 22.5
    assert held["origins"]["use_low_from_20_c"] == "data sheet of 2026, page 2"
    # 90 °F exactly; the source of the default is common practice.
    assert held["limits"]["use_high_c"] == pytest.approx((90 - 32) / 1.8, abs=1e-12)
    assert "no source" in held["origins"]["use_high_c"]


def test_points_of_a_data_sheet_come_back_as_they_were_sent_and_hold(manager):
    points = {
        "viscosity_points": [[25, 900.0], [8.333333333333334, 7800.0], [16.666666666666668, 2000]],
        "density_points": [[30, 1142.0], [10, 1158.0]],
    }
    sheet = "supplier's data sheet 7, table 2"
    product = made(
        manager,
        "products",
        build.product(side="resin", properties=points, origins={"viscosity_points": sheet}),
    )
    again = manager.get(f"/api/v1/products/{product['code']}").json()

    assert again == product
    assert again["properties"] == points
    held = again["in_force"]
    assert held["properties"]["density_points"] == [[10.0, 1158.0], [30.0, 1142.0]]
    assert held["properties"]["viscosity_points"][0] == [8.333333333333334, 7800.0]
    assert held["properties"]["density_kg_m3"] == pytest.approx(1150.0)
    assert held["properties"]["viscosity_mpas_25c"] == pytest.approx(900.0)
    assert held["origins"]["viscosity_points"] == sheet
    assert held["origins"]["viscosity_mpas_25c"] == sheet
    assert "not named" in held["origins"]["density_points"]
    assert "none given" in held["origins"]["conductivity_points"]
    assert "assumed" in held["origins"]["specific_heat_j_kgk"]
    assert held["origins"]["net_kg"] == "common practice, no source"


def test_overrides_are_replaced_as_a_whole(manager):
    product = made(manager, "products", build.product(properties={"density_kg_m3": 1225}))

    changed = patched(manager, f"products/{product['code']}", {"properties": {}})

    assert changed["properties"] == {}
    assert changed["in_force"]["properties"]["density_kg_m3"] == 1230


def test_a_lot_keeps_the_code_of_its_label(manager):
    product = made(manager, "products", build.product())["code"]
    code = "22/31-A.(7)"

    lot = made(manager, "lots", build.lot(product, code=code, expires_on="2026-07-15"))
    changed = patched(manager, f"lots/{product}/{code}", {"expires_on": None})

    assert lot["code"] == code
    assert changed["expires_on"] is None
    assert manager.get(f"{API}/lots", params={"product": product}).json()["items"] == [changed]


def test_two_products_may_have_lots_of_one_code(manager):
    one, other = (made(manager, "products", build.product())["code"] for _ in range(2))

    made(manager, "lots", build.lot(one, code="2231"))
    made(manager, "lots", build.lot(other, code="2231"))


def test_a_gateway_is_replaced_by_another_device(manager):
    site = made(manager, "sites", build.site())["code"]
    gateway = made(manager, "gateways", build.gateway(site))
    assert gateway["online"] is False

    urn = f"urn:dev:os:32473-{build.fresh('spare')}"
    changed = patched(manager, f"gateways/{gateway['gateway']}", {"urn": urn})

    assert changed["urn"] == urn


@pytest.mark.parametrize(
    ("noun", "bodies"),
    [
        ("sites", lambda _: [build.site() for _ in range(5)]),
        ("places", lambda site: [build.place(site) for _ in range(5)]),
        ("products", lambda _: [build.product() for _ in range(5)]),
        ("gateways", lambda site: [build.gateway(site) for _ in range(5)]),
        ("sensors", lambda _: [build.sensor() for _ in range(5)]),
        ("accounts", lambda _: [build.account() for _ in range(5)]),
        ("tokens", lambda _: [build.token() for _ in range(5)]),
    ],
)
def test_a_list_is_read_page_by_page_without_gap_or_repeat(manager, noun, bodies):
    site = made(manager, "sites", build.site())["code"]
    for body in bodies(site):
        made_one = manager.post(f"{API}/{noun}", json=body)
        assert made_one.status_code == 201, made_one.text
    whole = manager.get(f"{API}/{noun}", params={"limit": 200}).json()
    assert whole["next_cursor"] is None

    pages, cursor = [], None
    while True:
        query = {"limit": 2} | ({"cursor": cursor} if cursor else {})
        page = manager.get(f"{API}/{noun}", params=query).json()
        pages.append(page["items"])
        cursor = page["next_cursor"]
        if cursor is None:
            break

    assert [item for page in pages for item in page] == whole["items"]
    assert all(len(page) == 2 for page in pages[:-1])
    assert pages[-1]


def test_lists_are_filtered(manager):
    site = made(manager, "sites", build.site())["code"]
    hall = made(manager, "places", build.place(site))
    van = made(manager, "places", build.place(site, kind="vehicle"))

    def listed(**query: str) -> list[build.Body]:
        items: list[build.Body] = manager.get(f"{API}/places", params=query).json()["items"]
        return items

    assert listed(site=site) == [hall, van]
    assert listed(site=site, kind="vehicle") == [van]
