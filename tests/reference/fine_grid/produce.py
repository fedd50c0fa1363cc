r"""Make the curves of ``cases.toml``: those that are not there yet, or those that are named.

    OMP_NUM_THREADS=1 .venv/bin/python -m tests.reference.fine_grid.produce [NAME ...]

A file appears only when it is whole.
"""

import csv
import sys
import time
from typing import Final

from tests.reference.fine_grid.cases import RADIUS_M, Case, cases
from tests.reference.fine_grid.convection import COLUMNS, Course, Films, Liquid, Steps, run
from tests.reference.fine_grid.grid import stretched

RINGS: Final = 56
SLICES: Final = 72
ROW_H: Final = 0.5


def made(
    case: Case,
    *,
    rings: int = RINGS,
    slices: int = SLICES,
    steps: Steps | None = None,
    hours: float | None = None,
) -> Course:
    """Run one case, or its first hours."""
    hours = case.hours if hours is None else hours
    return run(
        stretched(radius_m=RADIUS_M, depth_m=case.depth_m, rings=rings, slices=slices),
        Liquid(
            density_kg_m3=case.density_kg_m3,
            specific_heat_j_kgk=case.specific_heat_j_kgk,
            conductivity_w_mk=case.conductivity_w_mk,
            expansion_1_k=case.expansion_1_k,
            kinematic_viscosity_m2_s=case.kinematic_viscosity_m2_s,
        ),
        Films(
            side_w_m2k=case.side_w_m2k,
            top_w_m2k=case.top_w_m2k,
            bottom_w_m2k=case.bottom_w_m2k,
        ),
        start_c=case.start_c,
        air=case.air,
        hours=[(n + 1) * ROW_H for n in range(round(hours / ROW_H))],
        steps=steps,
    )


def write(case: Case, course: Course) -> None:
    """Write its curves beside the others of its set."""
    case.path.parent.mkdir(exist_ok=True)
    part = case.path.with_suffix(".part")
    with part.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows([f"{value:.3f}" for value in row] for row in course.rows)
    part.replace(case.path)


def main(names: list[str]) -> None:
    """Make what is asked for and say what each took."""
    for case in cases():
        if case.name in names or not (names or case.path.exists()):
            begin = time.process_time()
            course = made(case)
            write(case, course)
            sys.stdout.write(
                f"{case.set:12}{case.name:22}{case.hours:4g} h {course.steps:8} steps"
                f"{time.process_time() - begin:8.1f} s  energy {course.imbalance_k:8.1e} K\n"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
