r"""How far the solver is from the given curves, and from itself on other grids and steps.

    OMP_NUM_THREADS=1 .venv/bin/python -m tests.reference.fine_grid.study [NAME ...]

Without names: the four given runs and the thinnest liquid of the sets. The table is in README.md.
"""

import sys
from dataclasses import replace
from typing import Final

import numpy as np

from tests.reference.fine_grid.cases import Case, cases, given
from tests.reference.fine_grid.convection import COLUMNS, Course, Steps
from tests.reference.fine_grid.grid import LAYERS, Floats
from tests.reference.fine_grid.produce import RINGS, SLICES, made

FINEST: Final = (80, 104)
GRIDS: Final = ((28, 36), (40, 52), (RINGS, SLICES), FINEST)
THINNEST: Final = "iso_turned_2"
LAYERS_AT: Final = slice(len(COLUMNS) - LAYERS, None)
HALVED: Final = replace(Steps(), courant=0.25, stiffness=0.5, longest_s=1.0)


def study(case: Case) -> None:
    """Print a line for each grid, and one for halved steps."""
    by_grid = {grid: made(case, rings=grid[0], slices=grid[1]) for grid in GRIDS}
    halved = made(case, steps=HALVED)
    reference = {"finest": columns(by_grid[FINEST])}
    if case in given():
        curves = case.curves
        reference["given"] = np.column_stack([curves["mean"], case.layers_c])
    for grid, course in by_grid.items():
        line(case, f"{grid[0]} x {grid[1]}", course, reference)
    line(case, "steps halved", halved, {"same": columns(by_grid[RINGS, SLICES])})


def columns(course: Course) -> Floats:
    """Mean and layers, (times, 9)."""
    return np.column_stack([course.rows[:, COLUMNS.index("mean")], course.rows[:, LAYERS_AT]])


def line(case: Case, what: str, course: Course, reference: dict[str, Floats]) -> None:
    """Print the largest differences, K: of the mean, the bottom, the top, the worst layer."""
    sys.stdout.write(f"{case.name:18}{what:14}{course.steps:8}")
    for name, theirs in reference.items():
        off = np.abs(columns(course) - theirs).max(axis=0)
        worst = off[1:].max()
        sys.stdout.write(f"  {name}: {off[0]:.3f} {off[1]:.3f} {off[-1]:.3f} {worst:.3f}")
    sys.stdout.write("\n")
    sys.stdout.flush()


def main(names: list[str]) -> None:
    """Study what is named."""
    for case in [*given(), *cases()]:
        if case.name in names or (not names and (case in given() or case.name == THINNEST)):
            study(case)


if __name__ == "__main__":
    main(sys.argv[1:])
