"""Typical years of outdoor air: the files are those whose facts are on record.

TMY3 723170 (Greensboro) and 703165 (Sand Point), NREL 2008; TMY2 12839 (Miami), NREL 1995; as they
ship in pvlib 0.16 (folder data). Rows count from 0; spells are given with the means and rows that
others found in the same files.
"""

import numpy as np
import pytest

from tests.builders.weather import HOURS, YEARS, typical_year


def spell(air, hours):
    """Mean of the coldest stretch of so many hours and its first row."""
    means = np.convolve(air, np.ones(hours) / hours, mode="valid")
    return means.min(), int(means.argmin())


def longest_below(air, limit):
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (air < limit).astype(int), [0]])))
    starts, ends = edges[::2], edges[1::2]
    longest = int((ends - starts).argmax())
    return int(starts[longest]), int((ends - starts)[longest])


@pytest.mark.parametrize(
    ("year", "lowest", "row", "mean"),
    [
        ("Greensboro", -16.7, 844, 14.422),
        ("Sand Point", -10.6, 1231, 4.421),
        ("Miami", 3.3, 54, 24.314),
    ],
)
def test_a_year_is_the_one_on_record(year, lowest, row, mean):
    air = typical_year(year)

    assert len(air) == HOURS
    assert (air.min(), int(air.argmin())) == (pytest.approx(lowest), row)
    assert air.mean() == pytest.approx(mean, abs=5e-4)


@pytest.mark.parametrize(
    ("hours", "mean", "row"), [(24, -12.179, 828), (48, -10.583, 817), (72, -9.460, 800)]
)
def test_the_coldest_spells_of_greensboro(hours, mean, row):
    air = typical_year("Greensboro")
    found, _ = spell(air, hours)

    # of two stretches that are alike the later is on record
    assert found == pytest.approx(mean, abs=1e-3)
    assert air[row : row + hours].mean() == pytest.approx(found, abs=1e-9)


def test_the_coldest_spell_of_sand_point():
    found, first = spell(typical_year("Sand Point"), 72)

    assert (found, first) == (pytest.approx(-8.214, abs=1e-3), 1164)


def test_how_long_it_stays_below_a_limit():
    greensboro, sand_point = typical_year("Greensboro"), typical_year("Sand Point")

    assert longest_below(greensboro, 0.0) == (96, 156)
    assert longest_below(greensboro, 10.0) == (15, 406)
    assert int((greensboro < 0.0).sum()) == 792
    assert longest_below(sand_point, 0.0) == (8157, 225)
    assert longest_below(sand_point, 10.0) == (0, 2820)


def test_there_are_three_climates():
    assert set(YEARS) == {"Greensboro", "Sand Point", "Miami"}
