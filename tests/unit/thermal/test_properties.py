"""Properties between and beyond the points of a data sheet, and the tables the march reads."""

import numpy as np
import pytest

from drumkeep.thermal.properties import (
    HIGHEST_C,
    LOWEST_C,
    NODE_K,
    NODES_C,
    Row,
    expanding,
    liquid_table,
    read_tables,
    straight,
    viscosity,
)

RESIN = ((25.0, 900.0), (50.0 / 3.0, 2000.0), (25.0 / 3.0, 7800.0))
"""A resin measured at 77, 62 and 47 °F (domain facts 2.1), mPa s."""


def table(points=RESIN, *, slope_k=0.0):
    return liquid_table(
        density_kg_m3=expanding(1150.0, expansion_1_k=8e-4, at_c=NODES_C),
        expansion_1_k=8e-4,
        specific_heat_j_kgk=straight(((10.0, 1850.0), (30.0, 1950.0)), at_c=NODES_C),
        conductivity_w_mk=0.16,
        viscosity_pas=1e-3 * viscosity(points, slope_k=slope_k, at_c=NODES_C),
    )


def read(made, row, at_c):
    return read_tables(made[None], number=np.zeros(1, dtype=np.intp), row=row, at_c=at_c)


def test_points_come_back_whatever_their_order():
    at = np.array([c for c, _ in RESIN])

    for points in (RESIN, RESIN[::-1], (RESIN[1], RESIN[0], RESIN[2])):
        assert viscosity(points, slope_k=0.0, at_c=at) == pytest.approx([900.0, 2000.0, 7800.0])
        assert straight(points, at_c=at) == pytest.approx([900.0, 2000.0, 7800.0])


def test_beyond_the_ends_the_last_slope_goes_on():
    def b(cold_c, warm_c):  # B of exp(B/T) between two temperatures
        cold, warm = viscosity(RESIN, slope_k=0.0, at_c=np.array([cold_c, warm_c]))
        return np.log(cold / warm) / (1.0 / (cold_c + 273.15) - 1.0 / (warm_c + 273.15))

    assert b(-30.0, 0.0) == pytest.approx(b(9.0, 16.0), rel=1e-9)
    assert b(26.0, 60.0) == pytest.approx(b(17.0, 24.0), rel=1e-9)

    line = straight(((10.0, 1.0), (20.0, 2.0), (30.0, 4.0)), at_c=np.array([0.0, 15.0, 40.0]))
    assert line == pytest.approx([0.0, 1.5, 6.0])


def test_one_viscosity_goes_by_the_slope_and_one_other_value_holds_everywhere():
    at = np.array([5.0, 25.0, 45.0])

    found = viscosity(((25.0, 200.0),), slope_k=6254.0, at_c=at)

    assert found == pytest.approx(200.0 * np.exp(6254.0 * (1.0 / (at + 273.15) - 1.0 / 298.15)))
    assert straight(((20.0, 1800.0),), at_c=at) == pytest.approx([1800.0] * 3)


def test_viscosity_falls_at_every_temperature():
    at = np.linspace(LOWEST_C, HIGHEST_C, 2000)

    assert (np.diff(viscosity(RESIN, slope_k=0.0, at_c=at)) < 0.0).all()
    assert (np.diff(read(table(), Row.VISCOSITY, at)) < 0.0).all()


def test_volume_grows_linearly_from_20_degrees():
    density = expanding(1150.0, expansion_1_k=8e-4, at_c=np.array([0.0, 20.0, 45.0]))

    assert 1150.0 / density == pytest.approx([1.0 - 0.016, 1.0, 1.0 + 0.02])


def test_a_table_gives_its_nodes_exactly_and_straight_lines_between():
    made = table()

    for row in Row:
        assert read(made, row, NODES_C) == pytest.approx(made[row], rel=1e-12)
        middle = read(made, row, NODES_C[:-1] + NODE_K / 2.0)
        assert middle == pytest.approx((made[row, :-1] + made[row, 1:]) / 2.0, rel=1e-12)


def test_beyond_a_table_its_end_values_hold():
    made = table()

    beyond = read(made, Row.DENSITY, np.array([LOWEST_C - 50.0, HIGHEST_C + 50.0]))

    assert beyond == pytest.approx(made[Row.DENSITY, [0, -1]])


@pytest.mark.parametrize(
    ("points", "slope_k", "low_c", "most"),
    [
        (((25.0, 200.0),), 6254.0, 0.0, 0.007),
        (((25.0, 900.0),), 10898.0, 7.5, 0.016),
        (((25.0, 900.0),), 10898.0, -40.0, 0.033),
        # Corners at 8.3 and 16.7 °C lie between two nodes; so near there a table cannot be.
        (RESIN, 0.0, 5.0, 0.05),
    ],
    ids=["iso", "resin in use", "resin in frost", "resin of three points"],
)
def test_between_nodes_the_table_is_near_the_law(points, slope_k, low_c, most):
    # A chord of exp(B/T) lies up to (h B / T²)² / 8 above it, h = 2.5 K: 1.6 % for resin at 7 °C.
    at = np.linspace(low_c, 60.0, 4000)

    law = viscosity(points, slope_k=slope_k, at_c=at)
    share = read(table(points, slope_k=slope_k), Row.VISCOSITY, at) / (1e-3 * law) - 1.0

    assert np.abs(share).max() <= most


def test_each_liquid_reads_its_own_table():
    iso, resin = table(((25.0, 200.0),), slope_k=6254.0), table()

    found = read_tables(
        np.stack([iso, resin]), number=np.array([1, 0, 1]), row=Row.VISCOSITY, at_c=25.0
    )

    assert found == pytest.approx([0.9, 0.2, 0.9])
