"""How the numbers are made: who may read it, and that its numbers are those of the functions."""

import re
from collections.abc import Iterator
from html.parser import HTMLParser

import numpy as np
import pytest

from drumkeep.domain import worked
from drumkeep.domain.liquid_pressure import pressure_inputs
from drumkeep.domain.products import Side, default_product
from drumkeep.domain.roles import Role
from drumkeep.thermal import kernel
from drumkeep.thermal.model_error import CASES
from drumkeep.thermal.vapour import AGENTS
from drumkeep.web.methods import SECTIONS
from tests.fixtures.html import Page
from tests.fixtures.people import Person, signed_in
from tests.fixtures.serving import manager, nobody, serving

__all__ = ["manager", "nobody", "serving"]


class Tables(HTMLParser):
    """The rows of a page's tables, by the figure that they stand in."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.rows: dict[str, list[list[str]]] = {}
        self._key = ""
        self._cell = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "figure":
            self._key = dict(attrs).get("id") or ""
            self.rows[self._key] = []
        elif tag == "tr" and self._key:
            self.rows[self._key].append([])
        self._cell = tag in ("td", "th") and bool(self._key)
        if self._cell:
            self.rows[self._key][-1].append("")

    def handle_endtag(self, tag: str) -> None:
        self._cell = False
        if tag == "figure":
            self._key = ""

    def handle_data(self, data: str) -> None:
        if self._cell:
            self.rows[self._key][-1][-1] += data


def number(text: str) -> float:
    found = re.search(r"-?[\d.]+", text.replace("\N{MINUS SIGN}", "-"))
    assert found is not None, text
    return float(found[0])


def numbers(rows: list[list[str]]) -> np.ndarray:
    return np.array([[number(cell) for cell in row] for row in rows[1:]])


@pytest.fixture(scope="module")
def metric(serving) -> Iterator[Person]:
    with signed_in(serving, "viewer", units="si") as person:
        yield person


@pytest.fixture(scope="module")
def us(serving) -> Iterator[Person]:
    with signed_in(serving, "viewer") as person:
        yield person


@pytest.fixture(scope="module")
def tables(metric) -> dict[str, list[list[str]]]:
    return Tables(metric.client.get("/methods").text).rows


@pytest.mark.parametrize("role", Role)
def test_everybody_who_signed_in_reads_it(serving, nobody, role):
    with serving.client(role) as client:
        assert client.get("/methods").status_code == 200
    assert nobody.get("/methods").status_code == 303


def test_every_section_is_there_and_leads_from_the_top(metric):
    page = metric.get("/methods")
    ids = {attributes.get("id") for _, attributes in page.elements}
    links = {a["href"] for a in page.all("a")}
    for name, _ in SECTIONS:
        assert name in ids
        assert f"#{name}" in links
    assert not {link[1:] for link in links if link.startswith("#")} - ids


def test_every_page_leads_to_it(metric):
    for path in ("/floor", "/alarms", "/sensors", "/me", "/methods"):
        assert "/methods" in [a["href"] for a in metric.get(path).all("a")], path


@pytest.mark.parametrize("name", ["cooling", "warming"])
def test_layers_drawn_are_those_of_the_forecast(tables, name):
    course = getattr(worked, name)()
    shown = numbers(tables[f"plot-{name}"])
    for hour, *temperatures in shown:
        i = course.h.index(hour)
        told = (course.bottom_c, course.mean_c, course.top_c, course.low_c, course.high_c)
        assert temperatures == pytest.approx([values[i] for values in told], abs=0.0501)


def test_films_drawn_are_those_of_the_boundary(tables):
    shown = numbers(tables["plot-films"])
    films = worked.side_films(shown[:, 0], motions=("still", "fan", "windy"))
    for column, film in enumerate(films.values(), start=1):
        # told at the drawn points, which lie within a twentieth of a kelvin of what is written
        assert shown[:, column] == pytest.approx(film, abs=0.08)


def test_viscosities_drawn_are_those_of_the_properties(tables):
    shown = numbers(tables["plot-viscosity"])
    iso = worked.viscosities(shown[:, 0], products={"iso": default_product(Side.ISO)})["iso"]
    assert shown[:, 1] == pytest.approx(1000.0 * iso, abs=0.51)


def test_vapour_pressures_drawn_are_those_of_the_fits(tables):
    heading, *_ = tables["plot-agents"]
    shown = numbers(tables["plot-agents"])
    for column, name in enumerate(heading):
        if name in AGENTS:
            expected = [AGENTS[name].pressure_kpa(c) for c in shown[:, 0]]
            assert shown[:, column] == pytest.approx(expected, abs=0.0501)
    blend = pressure_inputs([default_product(Side.RESIN)]).agent_kpa(shown[:, 0])
    assert shown[:, 1] == pytest.approx(blend, abs=0.0501)


def test_band_drawn_shrinks_at_the_dip_as_computed(tables):
    seen = worked.dip()
    rows = {int(row[0]): row for row in tables["plot-dip"][1:]}
    at = int(np.flatnonzero(seen.h == worked.DIP_AFTER_H)[0])
    _, without, with_it = rows[worked.DIP_AFTER_H]
    assert number(without) == pytest.approx((seen.high_c - seen.low_c)[at], abs=0.0501)
    assert number(with_it) == pytest.approx((seen.after_high_c - seen.after_low_c)[0], abs=0.0501)


def test_constants_in_the_text_are_those_of_the_code(metric):
    text = metric.client.get("/methods").text
    assert f"<mn>{kernel.C_FLOW:g}</mn>" in text
    assert f"<mn>{kernel.STREAM_SHARE:g}</mn>" in text
    assert f"computed as {kernel.LAYERS} equal layers" in text


def test_errors_of_the_model_are_listed_worst_first(metric):
    page = metric.get("/methods")
    assert f"{len(CASES)} runs, worst first" in page.words
    worst = max(CASES, key=lambda c: max(c.bottom_warm_k, c.bottom_cold_k, c.mean_k))
    names = [case.name.replace("_", " ") for case in CASES]
    told = [name for _, name in sorted((page.words.find(n), n) for n in names)]
    assert told[0] == worst.name.replace("_", " ")


def test_units_are_the_readers(us, metric):
    fahrenheit, celsius = us.get("/methods").words, metric.get("/methods").words
    assert "Iso at 70 °F put into still air" in fahrenheit
    assert "Iso at 21.0 °C put into still air" in celsius


def test_page_is_well_formed_without_script_of_its_own(metric):
    page = Page(metric.client.get("/methods").text)
    assert page.open == []
    assert all(s["src"].startswith("/static/") for s in page.all("script"))
    assert len(page.all("math")) > 15
