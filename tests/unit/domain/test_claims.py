"""What a supplier answers for, by the events of a drum."""

import pytest

from drumkeep.domain.claims import When, checksum, supplier_findings
from tests.builders.past import event, received


def found(*events):
    return [(f.what, f.when) for f in supplier_findings([received(), *events])]


def look(hours, **seen):
    return event("inspected", hours, **seen)


def test_solids_seen_when_it_came_are_found_on_arrival():
    assert found(look(0.1, solids="seen")) == [(("solids",), When.ARRIVAL)]


def test_a_bulge_before_it_was_ever_opened_is_the_suppliers_too():
    assert found(look(50.0, bulge="seen")) == [(("bulge",), When.UNOPENED)]


def test_what_is_seen_inside_is_seen_at_the_first_opening_though_nobody_recorded_one():
    assert found(look(50.0, solids="seen", skin="seen")) == [
        (("solids", "skin"), When.FIRST_OPENING)
    ]


@pytest.mark.parametrize(
    "before",
    [
        [event("opened", 40.0), event("resealed", 40.5)],
        [event("opened", 20.0)],
        [event("topped", 40.0, kg=5.0)],
        [look(20.0, solids="none", reached_bottom=True)],
    ],
    ids=["resealed", "open for more than a day", "topped", "looked into a day before"],
)
def test_nothing_is_found_after_the_first_opening_or_once_other_liquid_came_in(before):
    assert found(*before, look(50.0, solids="seen")) == []


def test_while_it_is_open_for_the_first_time_what_is_seen_counts():
    events = [event("dipped", 1.0, c=20.0), event("opened", 40.0), look(41.0, solids="seen")]
    assert found(*events) == [(("solids",), When.FIRST_OPENING)]


def test_a_clean_look_finds_nothing():
    assert found(look(0.1, bulge="none", ring="red")) == []


def test_the_checksum_is_of_the_canonical_text():
    # FIPS 180-4; the digest of {"a":1,"b":"ü"} in UTF-8 by coreutils' sha256sum
    record = {"b": "ü", "a": 1}
    assert checksum(record) == checksum({"a": 1, "b": "ü"})
    assert checksum(record) == SUM


SUM = "1a59e522e02ce50ad2c27c11a6d30f8667489c199580627fe9e3e33e2b0e91d5"
