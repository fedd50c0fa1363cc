"""Products over HTTP: the list, a sheet, and the points that a manager gives."""

from collections.abc import Iterator

import pytest

from tests.builders import catalogue as build
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, serving
from tests.fixtures.yard import API, Yard, yard

__all__ = ["manager", "serving", "yard"]

RESIN_F = "77 900\n62 2000\n47 7800"
"""A resin measured at 77, 62 and 47 °F (domain facts 2.1), cP."""


@pytest.fixture(scope="module")
def mara(serving) -> Iterator[Person]:
    """Return a manager who reads °F."""
    with signed_in(serving, "manager") as person:
        yield person


@pytest.fixture(scope="module")
def mila(serving) -> Iterator[Person]:
    """Return a manager who reads °C."""
    with signed_in(serving, "manager", units="si") as person:
        yield person


@pytest.fixture
def code(manager) -> str:
    """Return the code of a new resin."""
    answer = manager.post(f"{API}/products", json=build.product(side="resin", name="North resin"))
    assert answer.status_code == 201, answer.text
    found: str = answer.json()["code"]
    return found


def save(person: Person, code: str, **fields: str):
    form = person.fill(f"/products/{code}", f"/products/{code}/points", **fields)
    return person.send(form)


def in_force(manager, code):
    return manager.get(f"{API}/products/{code}").json()["in_force"]


@pytest.mark.usefixtures("code")
def test_the_list_leads_to_every_product(mara, manager):
    page = mara.get("/products")

    known = {p["code"] for p in manager.get(f"{API}/products").json()["items"]}
    links = {a["href"] for a in page.all("a")}
    assert {f"/products/{one}" for one in known} <= links
    assert "B resin for closed-cell foam" in page.words


def test_every_page_and_a_drum_lead_to_products(yard, mara):
    tag = yard.receive(liquid_c=18.0)["tag"]

    links = {a["href"] for a in mara.get(f"/drums/{tag}").all("a")}

    assert {"/products", f"/products/{yard.iso}"} <= links


def test_the_system_said_on_the_sheet_is_the_products_and_empty_takes_it_back(mara, manager, code):
    assert "Nobody has said to which system it belongs" in mara.get(f"/products/{code}").words
    for system, kept in ((" Alder ", "Alder"), ("", None)):
        form = mara.fill(f"/products/{code}", f"/products/{code}/system", system=system)
        assert mara.send(form).status_code == 303
        assert manager.get(f"{API}/products/{code}").json()["system"] == kept


def test_a_sheet_shows_limits_with_their_origin_and_properties_by_temperature(mara, mila, code):
    words = mara.get(f"/products/{code}").words

    assert "Gassing above" in words
    assert "common practice, no source" in words
    assert "Solids dissolve from" not in words  # which is of iso
    assert all(
        f"{f}\N{NO-BREAK SPACE}°F" in words.replace(" °F", "\N{NO-BREAK SPACE}°F")
        for f in (32, 50, 68, 86)
    )
    # 1150 kg/m³ at 20 °C and 8e-4 per K: 1150 / (1 - 0.016) = 1169 at 0 °C.
    assert "1\N{NARROW NO-BREAK SPACE}169" in words.replace(" 169", "\N{NARROW NO-BREAK SPACE}169")
    assert "typical data sheet" in words
    assert "10.0" in mila.get(f"/products/{code}").words


def test_viscosity_is_drawn_and_told_as_numbers(mara, code):
    page = mara.get(f"/products/{code}")

    assert any(svg.get("role") == "img" for svg in page.all("svg"))
    assert "Viscosity by temperature" in page.words
    assert "The same as numbers" in page.words


def test_a_manager_gives_points_in_fahrenheit_and_they_hold(mara, mila, manager, code):
    sheet = "Supplier's sheet 7"

    answer = save(mara, code, **{"viscosity_points": RESIN_F, "viscosity_points-source": sheet})

    assert answer.status_code == 303, answer.text
    assert answer.headers["location"] == f"/products/{code}#properties"
    held = in_force(manager, code)
    points = held["properties"]["viscosity_points"]
    assert [c for c, _ in points] == pytest.approx([25.0 / 3.0, 50.0 / 3.0, 25.0])
    assert [v for _, v in points] == [7800.0, 2000.0, 900.0]
    assert held["origins"]["viscosity_points"] == sheet
    action = f"/products/{code}/points"
    shown = mara.get(f"/products/{code}")
    assert shown.form(action).fields["viscosity_points"].split("\n") == [
        "47 7800",
        "62 2000",
        "77 900",
    ]
    assert sheet in shown.words
    assert (
        mila.get(f"/products/{code}").form(action).fields["viscosity_points"].startswith("8.33333")
    )


def test_points_of_a_sheet_stay_what_they_are_when_they_are_saved_again(mara, manager, code):
    save(mara, code, viscosity_points=RESIN_F, density_points="50 1158\n86 1142")
    before = manager.get(f"{API}/products/{code}").json()

    assert save(mara, code).status_code == 303

    again = manager.get(f"{API}/products/{code}").json()
    for name, points in before["properties"].items():
        assert [x for pair in again["properties"][name] for x in pair] == pytest.approx(
            [x for pair in sorted(points) for x in pair], rel=1e-9
        )


def test_an_empty_field_gives_the_single_figure_back(mila, manager, code):
    save(mila, code, viscosity_points="15 1900\n25 900")
    assert save(mila, code, viscosity_points=" \n").status_code == 303

    held = in_force(manager, code)

    assert held["properties"]["viscosity_points"] == []
    assert held["properties"]["viscosity_mpas_25c"] == 900.0
    assert held["properties"]["viscosity_slope_k"] == 10898.0


def test_other_overrides_stay(mila, manager, code):
    manager.patch(f"{API}/products/{code}", json={"properties": {"net_kg": 220}})

    save(mila, code, conductivity_points="20 0.16")

    assert manager.get(f"{API}/products/{code}").json()["properties"] == {
        "net_kg": 220,
        "conductivity_points": [[20.0, 0.16]],
    }


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("77 900\nwarm thick", "“warm thick” is not two numbers"),
        ("77 900 3", "“77 900 3” is not two numbers"),
        ("300 900", "“300 900” is out of range. Give a temperature from -40 °F to 248 °F."),
        ("77 0.1", "“77 0.1” is out of range. Give a value from 0.5 to 5000000."),
        ("77 900\n77 950", "Viscosity has two points too close together, at 77 °F and 77 °F."),
        ("60 900\n77 1900", "cold is thicker"),
    ],
)
def test_what_cannot_be_is_told_beside_its_field_and_nothing_is_taken(
    mara, manager, code, text, told
):
    before = manager.get(f"{API}/products/{code}").json()

    answer = save(mara, code, viscosity_points=text, conductivity_points="68 0.16")

    assert answer.status_code == 422
    page = Page(answer.text)
    assert told in page.words
    (field,) = [t for t in page.all("textarea") if t["name"] == "viscosity_points"]
    assert field["aria-describedby"] in {d.get("id") for d in page.all("div")}
    written = page.form(f"/products/{code}/points").fields
    assert written["viscosity_points"] == text
    assert written["conductivity_points"] == "68 0.16"
    assert manager.get(f"{API}/products/{code}").json() == before


def test_too_long_a_source_is_told_beside_its_field(mara, code):
    answer = save(mara, code, **{"viscosity_points": RESIN_F, "viscosity_points-source": "x" * 301})

    assert answer.status_code == 422
    assert "300" in Page(answer.text).words


@pytest.mark.parametrize("role", ["dispatcher", "crew", "viewer"])
def test_all_may_read_a_sheet_and_only_managers_change_it(serving, code, role):
    with signed_in(serving, role) as person:
        page = person.get(f"/products/{code}")
        answer = person.client.post(
            f"/products/{code}/points",
            data={"csrf": person.csrf(), "units": "us", "viscosity_points": RESIN_F},
        )

    assert f"/products/{code}/points" not in {form.action for form in page.forms}
    assert answer.status_code == 403


def test_a_form_without_its_token_changes_nothing(mara, manager, code):
    before = manager.get(f"{API}/products/{code}").json()

    answer = mara.client.post(f"/products/{code}/points", data={"viscosity_points": "77 900"})

    assert answer.status_code == 403
    assert manager.get(f"{API}/products/{code}").json() == before


def test_an_unknown_product_has_no_page(mara):
    mara.get("/products/nothing-like-it", status=404)


def test_density_that_drums_on_record_deny_is_told_on_a_page(yard: Yard, mila):
    answer = yard.client.post(f"{API}/products", json=build.product())
    product = answer.json()["code"]
    yard.lot(product, "L-7")
    # 258 kg fills 216.5 L brimful at 1192 kg/m³.
    yard.receive(product=product, lot="L-7", net_kg=260.0)

    answer = save(mila, product, density_points="10 1008\n30 992")

    assert answer.status_code == 409
    assert "does not fit what is recorded" in Page(answer.text).words
