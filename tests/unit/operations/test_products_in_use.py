"""What changes of a product must leave the past of its drums possible."""

import pytest

from drumkeep.errors import Conflict
from drumkeep.operations.products import change_product
from tests.fixtures.depot import depot, empty_depot, short_sight

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = pytest.mark.usefixtures("short_sight")


def change(depot, **properties):
    with depot.writing() as tx:
        change_product(tx, code="iso", changes={"properties": properties})


def test_a_density_that_a_drum_on_record_does_not_hold_is_refused(depot):
    depot.night()
    tag = depot.receive("hall", 0.0, net_kg=250.0)

    with pytest.raises(Conflict) as refused:
        change(depot, density_kg_m3=1100.0)  # 0.2165 m³ of it are 238 kg

    fault = refused.value.faults[0]
    assert (fault.field, fault.value) == ("properties.density_kg_m3", 1100.0)
    assert tag in fault.problem
    depot.advance(1.0)
    change(depot, density_kg_m3=1200.0)
    assert depot.drum(tag).from_ms is not None
    depot.advance(2.0)
    depot.check_all(2.0)


def test_a_density_that_puts_a_dip_above_the_liquid_is_refused(depot):
    depot.night()
    tag = depot.receive("hall", 0.0, net_kg=100.0)
    depot.record(tag, "dipped", 0.5, c=18.0, height_m=0.33)

    with pytest.raises(Conflict):
        change(depot, density_kg_m3=1400.0)

    depot.record(tag, "emptied", 1.0)
    with pytest.raises(Conflict):  # its past is still computed
        change(depot, density_kg_m3=1400.0)


def test_what_a_drum_holds_by_default_changes_for_all_that_were_not_weighed(depot):
    depot.night()
    usual = depot.receive("hall", 0.0)
    weighed = depot.receive("hall", 0.0, net_kg=90.0)
    depot.record(usual, "decanted", 1.0, kg=150.0, to=weighed)
    assert depot.drum(usual).net_kg == 100.0

    change(depot, net_kg=200.0)

    depot.advance(2.0)
    assert (depot.drum(usual).net_kg, depot.drum(weighed).net_kg) == (50.0, 240.0)
    assert depot.state(usual)["mass_kg"][0] == 50.0
    depot.check_all(2.0)
    with pytest.raises(Conflict):  # less than was poured out of it
        change(depot, net_kg=140.0)
