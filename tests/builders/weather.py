"""Outdoor air of typical years, from files that ship with pvlib (found, never imported).

Hourly dry-bulb temperatures. Months of a typical year come from different years, so only the hour
of the year counts: the label is the end of the hour, 01:00 to 24:00.
"""

import csv
from importlib.util import find_spec
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HOURS: Final = 8760
YEARS: Final = {
    "Greensboro": "723170TYA.CSV",
    "Sand Point": "703165TY.csv",
    "Miami": "12839.tm2",
}
"""TMY3 of North Carolina (36 °N, four seasons) and Alaska (55 °N, cold sea); TMY2 of Florida."""

_DRY_BULB: Final = slice(67, 71)
"""TMY2: tenths of a degree in columns 68 to 71."""


def typical_year(name: str) -> Floats:
    """Return the 8760 hourly temperatures of a place's typical year, °C."""
    file = _file(YEARS[name])
    if file.suffix == ".tm2":
        lines = file.read_text(encoding="latin-1").splitlines()[1:]
        air = [int(line[_DRY_BULB]) / 10.0 for line in lines]
    else:
        with file.open(encoding="utf-8", newline="") as lines_of:
            next(lines_of)  # the station
            air = [float(row["Dry-bulb (C)"]) for row in csv.DictReader(lines_of)]
    assert len(air) == HOURS, file
    return np.array(air, dtype=np.float64)


def _file(name: str) -> Path:
    spec = find_spec("pvlib")
    assert spec is not None, "pip install --no-deps pvlib"
    assert spec.submodule_search_locations is not None
    return Path(spec.submodule_search_locations[0]) / "data" / name
