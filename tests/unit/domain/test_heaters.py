"""Heaters as people record them: what makes no sense, and what must be said."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from drumkeep.domain.drums import fold
from drumkeep.domain.heaters import (
    Device,
    Heater,
    check_device,
    check_heater,
    device_of,
    heater_of,
    heating_cautions,
    understood,
)
from drumkeep.domain.wording import plain, temperatures
from drumkeep.errors import Invalid
from tests.builders.past import ISO, at, event, received

BAND = Heater(Device.BAND, watts=1000.0, until=at(8.0), height_m=0.2, thermostat_c=40.0)
MAXIMUM_C = ISO.limits.maximum_c  # 48.9 °C, 120 °F


def refused(heater, *, depth_m=0.79):
    with pytest.raises(Invalid) as refusal:
        check_heater(heater, at=at(2.0), depth_m=depth_m)
    return refusal.value.faults


def said(heater, *, hours=4.0):
    return heating_cautions(heater, maximum_c=MAXIMUM_C, now=at(hours))


@pytest.mark.parametrize(
    ("words", "device"),
    [
        ("band", Device.BAND),
        ("Band heater, silicone", Device.BAND),
        ("base", Device.BASE),
        ("blanket heater", Device.BLANKET),
        ("heating jacket", Device.BLANKET),
        ("immersion", Device.OTHER),
    ],
)
def test_a_heater_is_known_by_a_word_of_what_was_written(words, device):
    assert device_of(words) is device


def test_an_event_tells_all_of_its_heater():
    told = event(
        "heated",
        2.0,
        device="band",
        watts=1000.0,
        until=at(8.0).isoformat(),
        height_m=0.2,
        thermostat_c=40.0,
    )

    assert heater_of(told) == BAND


def test_a_band_that_the_liquid_covers_is_taken():
    check_heater(BAND, at=at(2.0), depth_m=0.79)
    check_heater(replace(BAND, height_m=None), at=at(2.0), depth_m=0.05)


@pytest.mark.parametrize(("height_m", "depth_m"), [(0.85, 0.79), (0.2, 0.1), (0.78, 0.79)])
def test_a_band_above_the_liquid_is_refused_with_its_height_and_where_it_may_be(height_m, depth_m):
    (fault,) = refused(replace(BAND, height_m=height_m), depth_m=depth_m)

    assert (fault.field, fault.value) == ("height_m", height_m)
    assert f"{depth_m:.2f} m" in fault.problem
    allowed = replace(BAND, height_m=depth_m - 0.05)
    check_heater(allowed, at=at(2.0), depth_m=depth_m)


@pytest.mark.parametrize(
    ("changes", "fields"),
    [
        ({"until": at(2.0)}, ["until"]),
        ({"until": at(1.0), "watts": 0.0}, ["until", "watts"]),
        ({"device": Device.BASE, "height_m": 0.2}, ["height_m"]),
        ({"device": Device.BASE, "height_m": None, "watts": 0.0}, ["watts"]),
        ({"blanket_r_m2k_w": 0.3}, ["blanket_r_m2k_w"]),
    ],
)
def test_a_heater_that_cannot_be_is_refused_by_field(changes, fields):
    assert [fault.field for fault in refused(replace(BAND, **changes))] == fields


def test_a_blanket_without_power_only_insulates_and_needs_no_caution():
    blanket = Heater(Device.BLANKET, watts=0.0, until=at(8.0), blanket_r_m2k_w=0.5)
    check_heater(blanket, at=at(2.0), depth_m=0.79)

    assert said(blanket) == []


def test_a_heater_that_is_on_has_its_cautions_until_it_is_off():
    first, band = said(BAND)

    assert "small bung vented" in first
    assert "relieved under dry gas" in first
    assert first.startswith("Never heat a tight drum")
    assert temperatures(first) == [pytest.approx(MAXIMUM_C, abs=0.01)]
    assert "below the liquid level" in band
    assert said(BAND, hours=8.0) == []
    assert said(None) == []


def test_a_heater_without_thermostat_or_with_one_set_too_high_is_cautioned_and_not_refused():
    free = replace(BAND, thermostat_c=None)
    hot = replace(BAND, thermostat_c=60.0)
    for heater in (free, hot):
        check_heater(heater, at=at(2.0), depth_m=0.79)

    assert any("No thermostat" in plain(line) for line in said(free))
    assert any("60.0 °C" in plain(line) and "turn it down" in line for line in said(hot))
    assert not any("hermostat" in line for line in said(BAND))


def test_a_drums_facts_keep_the_last_heater_and_check_it_against_the_liquid_then():
    def heated(hours, **data):
        whole: dict[str, Any] = {"device": "band", "watts": 500.0}
        return event("heated", hours, **whole | {"until": at(hours + 6.0).isoformat()} | data)

    drawn = event("weighed", 3.0, net_kg=60.0)
    facts = fold(
        [received(net_kg=250.0), heated(2.0), drawn, heated(4.0, device="base")], product=ISO
    )

    assert facts.heater is not None
    assert facts.heater.device is Device.BASE
    assert facts.heater.until - at(4.0) == timedelta(hours=6.0)
    fold([received(net_kg=250.0), heated(2.0, height_m=0.5)], product=ISO)
    with pytest.raises(Invalid) as refusal:
        fold([received(net_kg=250.0), drawn, heated(4.0, height_m=0.5)], product=ISO)
    assert [fault.field for fault in refusal.value.faults] == ["height_m"]


@pytest.mark.parametrize(
    "words",
    ["torch", "Blowtorch", "propane salamander", "weed burner", "steam lance", "open-flame heater"],
)
def test_what_burns_or_steams_is_refused_with_its_words_and_what_to_do(words):
    # Suppliers' handling guides of MDI: never thaw a drum with an open flame or a steam lance
    with pytest.raises(Invalid) as refusal:
        check_device(words)
    with pytest.raises(Invalid):
        fold(
            [received(), event("heated", 2.0, device=words, watts=500.0, until=at(8.0))],
            product=ISO,
        )

    (fault,) = refusal.value.faults
    assert (fault.field, fault.value) == ("device", words)
    assert "must never heat a drum" in fault.problem
    assert "thermostat" in fault.mend


@pytest.mark.parametrize("words", ["band", "flameproof base heater", "immersion", "other", "fired"])
def test_what_neither_burns_nor_steams_is_taken(words):
    check_device(words)


def test_a_heater_of_no_known_kind_is_told_how_it_was_taken():
    assert understood("Drum belt") == "band"
    assert "all of the liquid" in understood("immersion")
    other = Heater(Device.OTHER, watts=400.0, until=at(8.0), thermostat_c=40.0)
    assert any("counts as one that heats all" in line for line in said(other))
    assert not any("counts as" in line for line in said(BAND))
