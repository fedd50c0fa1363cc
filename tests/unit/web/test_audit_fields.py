"""What the audit's page says of a field: its name in words, its value in the person's units."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from drumkeep.domain.audit import Part
from drumkeep.operations.audit import Entry
from drumkeep.web.formats import Formats
from drumkeep.web.views.audit import audit_line, csv_row
from drumkeep.web.views.audit_fields import field_name, field_value

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)


def formats(units="us", language="en"):
    return Formats(units=units, timezone=ZoneInfo("America/Chicago"), now=NOW, language=language)


@pytest.mark.parametrize(
    ("kept", "value", "us", "metric"),
    [
        # by the definitions: °F = 1.8 °C + 32; 1 lb = 0.45359237 kg; 1 in = 2.54 cm;
        # 1 mi = 1609.344 m; 1 psi = 6.894757 kPa (NIST SP 811, appendix B)
        ("data.liquid_c", 15.0, "59 °F", "15 °C"),
        ("data.sigma_k", 0.5, "0.9 °F", "0.5 °C"),
        ("tare_kg", 18.1, "39.9 lb", "18.1 kg"),
        ("data.height_m", 0.254, "10 in", "25.4 cm"),
        ("pressure_kpa", 6894.757, "1000 psi", "6894.8 kPa"),
        ("wind_m_s", 4.4704, "10 mph", "4.5 m/s"),
        ("altitude_m", 304.8, "1000 ft", "304.8 m"),
        ("data.minutes", 240.0, "4 h", "4 h"),
        ("capacity", 16, "16", "16"),
    ],
)
def test_a_value_is_told_in_the_units_of_the_person(kept, value, us, metric):
    def told(units: str) -> str:
        said = field_value(kept, value, formats(units), names={})
        return said.replace("\N{NO-BREAK SPACE}", " ")

    assert told("us") == us
    assert told("metric") == metric


def test_a_moment_is_told_by_the_clock_of_the_page_with_its_zone():
    said = field_value("wanted_at", "2026-11-27T04:00:00+00:00", formats(), names={})

    assert "26 Nov 2026" in said
    assert said.endswith("CST")


def test_no_kept_name_reaches_people_in_either_language():
    assert field_name("liquid_c", formats()) == "temperature of the liquid"
    assert field_name("liquid_c", formats(language="es")) == "temperatura del líquido"
    assert field_name("limits.gassing_c", formats()) == "limits, gassing"


def test_the_file_keeps_what_is_kept():
    told = Part("drum_event", "made", {"data.sigma_k": (None, 0.5), "data.c": (None, 15.0)})
    entry = Entry(
        id=1,
        at=NOW,
        deed="d",
        actor="dana",
        role="crew",
        way="page",
        session=None,
        device="",
        address="",
        did="dipped",
        kind="drum",
        thing="K7Q-X4M",
        parts=(told,),
    )

    assert "sigma k: - -> 0.5; c: - -> 15" in csv_row(entry)
    names = [field.name for field in audit_line(entry, formats(), names={}).fields]
    assert names == ["uncertainty", "temperature"]


def test_places_products_and_output_classes_are_told_as_people_call_them():
    names = {"place": {"harrow/north-shed": "North shed"}, "product": {"iso-b": "Blue iso"}}

    def told(kept: str, value: str, language: str = "en") -> str:
        shown = field_value(kept, value, formats(language=language), names=names)
        return shown.replace("\N{NO-BREAK SPACE}", " ")

    assert told("place", "harrow/north-shed") == "North shed"
    assert told("inside", "harrow/north-shed") == "North shed"
    assert told("product", "iso-b") == "Blue iso"
    assert told("place", "harrow/gone") == "harrow/gone"
    assert told("output_class", "from_20") == "20 lb a minute and over"
    assert "from" not in told("wanted_output", "from_20", "es")
