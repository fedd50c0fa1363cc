"""One drum's pressure in figures and sentences; values by hand from the formulas they come from."""

import numpy as np
import pytest

from drumkeep.domain.cautions import cautions_of
from drumkeep.domain.condensation import WetAir
from drumkeep.domain.data_sheets import with_overrides
from drumkeep.domain.pressure_report import MARK_CAUTION, Gauge, pressure_report
from drumkeep.domain.un_mark import parse
from drumkeep.domain.wording import plain
from drumkeep.thermal.vapour import AGENTS
from tests.builders.past import ISO, RESIN, event, received, state_after
from tests.builders.verdicts import facts


def report(*events, product=ISO, net_kg=250.0, mark=None, now=None, **more):
    start = received(liquid_c=20.0, net_kg=net_kg)
    states = state_after([start, *events], hours=0.0, places=20.0, product=product)
    return pressure_report(
        product=product,
        states=states,
        net_kg=net_kg,
        mark=None if mark is None else parse(mark),
        site_kpa=101.325,
        now=now,
        **more,
    )


def said(found):
    return {name: plain(text) for name, text in found.facts()}


def texts(found):
    return [plain(check.text) for check in found.checks]


def test_a_tenth_of_an_agent_in_resin_stands_over_it_by_raoults_law():
    # 10 % HFC-245fa in polyol of 450 g/mol: 0.2717 × 400.0 kPa at 55 °C = 108.7 kPa
    product = with_overrides(RESIN, properties={"agent_mass_fraction": 0.1}, limits={}, origins={})
    found = report(product=product, net_kg=227.0)

    assert found.agent_55_kpa == pytest.approx(108.7, rel=0.005)
    assert found.agent_50_kpa == pytest.approx(93.5, rel=0.005)
    assert "HFC-245fa, 10.0 % by mass" in said(found)["Blowing agent"]


def test_without_a_mark_it_says_so_and_what_the_liquid_asks_for():
    found = report()

    assert found.checks == ()
    assert said(found)["UN mark"].startswith("Not known")
    assert "100 kPa" in said(found)["UN mark"]


def test_iso_is_too_dense_for_a_mark_that_names_no_density():
    found = report(mark="1A1/Y/150")
    density = found.checks[-1]

    assert not density.holds
    assert texts(found)[-1] == (
        "Relative density 1.23: over the mark's 1.2, which holds where none is named."
    )
    assert all(check.holds for check in report(mark="1A1/Y1.4/150").checks)


def test_a_resin_with_much_agent_is_held_against_all_three_rules():
    # By the formulas: 4/7 (100 + 100) = 114.3, 2/3 (100 + 100) = 133.3, 2/3 × 100 = 66.7 kPa
    product = with_overrides(RESIN, properties={"agent_mass_fraction": 0.15}, limits={}, origins={})
    found = report(product=product, net_kg=235.0, mark="1A1/Y1.2/100")
    pressure, at_50, at_55, density = found.checks

    assert [check.rule for check in found.checks] == ["pressure", "vapour", "vapour", "density"]
    assert "Mark: pressure, not held" in said(found)
    assert "Mark: density" in said(found)
    assert [pressure.holds, at_50.holds, at_55.holds, density.holds] == [False, False, False, True]
    assert "67 kPa" in plain(pressure.text)
    # 15 % of it: 128.1 kPa at 50 °C, 148.8 at 55 °C
    assert texts(found)[1].startswith("Agent over the blend 128 kPa absolute at 50.0 °C: not under")
    assert texts(found)[2].startswith("Agent over the blend 149 kPa absolute at 55.0 °C: not under")
    assert MARK_CAUTION in found.cautions


def test_a_drum_too_full_says_from_when_and_how_much_may_stay():
    # 262 kg of iso are 213.0 L at 20 °C; they are 216.5 L when (216.5/213.0 − 1)/6.5e-4 warmer
    full_c = 20.0 + (0.2165 * 1230.0 / 262.0 - 1.0) / 6.5e-4
    found = report(net_kg=262.0, mark="1A1/Y1.4/250")

    assert found.hot_kpa is None
    assert found.filling.full_c == pytest.approx(full_c)
    assert f"{full_c:.1f} °C" in said(found)["If it gets hot"]
    assert not found.checks[0].holds
    assert "260.4 kg" in said(found)["Fill"]


def cautions(*, product=ISO, net_kg=250.0, mark=None, hot_kpa=None):
    given = facts(net_kg=net_kg, un_mark=None if mark is None else parse(mark))
    found = cautions_of(
        product=product, facts=given, conditions=frozenset(), pressure_kpa=0.0, hot_kpa=hot_kpa
    )
    return [plain(text) for text in found]


def test_a_drum_too_full_carries_a_caution():
    assert not [c for c in cautions(net_kg=260.3) if c.startswith("Too full")]
    (text,) = [c for c in cautions(net_kg=260.5) if c.startswith("Too full")]
    assert "260.4 kg" in text


@pytest.mark.parametrize(("hot_kpa", "told"), [(66.6, False), (66.7, True), (float("inf"), True)])
def test_two_thirds_of_the_marks_test_pressure_at_55_c_is_a_caution(hot_kpa, told):
    found = cautions(mark="1A1/Y1.4/100", hot_kpa=hot_kpa)

    assert bool([c for c in found if "two thirds" in c]) is told
    assert not [c for c in cautions(hot_kpa=hot_kpa) if "two thirds" in c]


@pytest.mark.parametrize(
    ("events", "words"),
    [
        ([event("opened", 0.02)], "None: it is open."),
        (
            [event("blanketed", 0.02, gas="nitrogen", kpa=14.0, regulator=True)],
            "14 kPa of dry gas, held by its regulator.",
        ),
        ([], "Not known, for its temperature is not."),
    ],
)
def test_what_is_not_computed_is_said(events, words):
    assert said(report(*events))["Pressure"] == words


def test_the_band_is_told_with_what_it_comes_from():
    now = Gauge(likely=5.0, low=-2.0, high=12.0)

    assert said(report(now=now))["Pressure"] == (
        "5 kPa above the air outside, computed; 2 kPa below to 12 kPa over the band of its "
        "temperature."
    )
    assert "activity 0.5 to 1.2" in said(report(product=RESIN, net_kg=227.0, now=now))["Pressure"]


def test_a_vacuum_tells_how_warm_it_was_sealed():
    now = Gauge(likely=-14.0, low=-16.0, high=-12.0)
    words = said(report(now=now))["Pressure"]

    assert "sealed at 20.0 °C" in words
    assert "wet air" in words


@pytest.mark.parametrize(("margin", "words"), [(1.5, "this drum's may."), (6.0, "is warmer.")])
def test_the_dew_point_is_told_with_the_humidity_behind_it(margin, words):
    wet = WetAir(dew_c=14.0, humidity=70.0, assumed=True)
    text = said(report(wet=wet, dew_margin_k=margin))["Dew point"]

    assert text.startswith("14.0 °C in the air around it (70 % humidity, assumed).")
    assert "16.0 °C" in text
    assert text.endswith(words)


def test_an_equation_that_ends_before_55_c_says_so():
    pentane = AGENTS["n-pentane"]
    own = {n: getattr(pentane, n) for n in ("name", "molar_mass", "a", "b", "c")}
    product = with_overrides(
        RESIN,
        properties={"own_agent": {**own, "low_c": 0.0, "high_c": 45.0}},
        limits={},
        origins={},
    )

    assert "holds from 0.0 °C to 45.0 °C only" in said(report(product=product))["Blowing agent"]
    assert "only" not in said(report(product=RESIN, net_kg=227.0))["Blowing agent"]


def test_the_headspace_is_what_the_liquid_leaves():
    assert report().headspace_m3 == pytest.approx(0.2165 - 250.0 / 1230.0)
    assert np.isfinite(report().hot_kpa or 0.0)


def test_next_to_nothing_is_about_the_same_as_the_air_outside():
    # 0.1 psi is 0.69 kPa
    def now(kpa, *, either_way=0.1):
        gauge = Gauge(likely=kpa, low=kpa - either_way, high=kpa + either_way)
        return said(report(now=gauge))["Pressure"]

    assert now(0.3).startswith("About the same as the air outside, computed; so it stays")
    assert now(-0.3) == now(0.3)
    assert "computed; 1 kPa below to 0 kPa over" in now(-0.5, either_way=0.4)
    assert now(-2.0, either_way=1.0).startswith("2 kPa below the air outside, computed; 3 kPa")
