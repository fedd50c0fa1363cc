"""The UN mark on a drum's steel, ``UN 1A1/Y1.4/150/…``: what its maker tested it for.

The mark's parts are those of 49 CFR 178.503 (a summary of it), the limits on use those of 49 CFR
173.24a(b)(1) and (4) (its text as amended to 2022), which the UN Model Regulations, ADR and IMDG
4.1.1.10 share (from memory). That text rules: it lets a drum of a higher packing group hold denser
liquids of a lower one, which is not reckoned here. A mark is no alarm limit: a drum is no pressure
vessel, and bulges long before its test pressure.
"""

import math
import re
from dataclasses import dataclass
from typing import Final

from drumkeep.errors import Fault, Invalid

MARK_LENGTH: Final = 80

PLAIN_DENSITY: Final = 1.2
"""Largest relative density of a mark that names none."""

LEAST_TEST_KPA: Final = 100.0
"""Least test pressure by 49 CFR 178.605(d)(2) and (3), from memory."""

LEAST_TEST_GROUP_I_KPA: Final = 250.0

_GROUPS: Final = {"X": ("I", "II", "III"), "Y": ("II", "III"), "Z": ("III",)}
_MATERIALS: Final = {"A": "steel", "B": "aluminium", "N": "other metal", "H": "plastics"}
_HEADS: Final = {"1": "closed", "2": "open"}

_CODE: Final = re.compile(r"(?P<kind>\d{1,2})(?P<material>[A-Z]{1,2})(?P<head>\d?)W?", re.ASCII)
_GRADE: Final = re.compile(r"(?P<group>[A-Z])(?P<density>\d{1,4}(?:\.\d{1,2})?)?", re.ASCII)
_PRESSURE: Final = re.compile(r"(?P<kpa>\d{1,4})(?:\s?KPA)?", re.ASCII)

_DENSITIES: Final = (0.6, 3.0)
_PRESSURES_KPA: Final = (10.0, 1000.0)

_EXAMPLE: Final = "like UN 1A1/Y1.4/150/26/USA/…: kind, group with density, test pressure in kPa"
_PARTS: Final = 3


@dataclass(frozen=True)
class UnMark:
    """A drum's mark for liquids.

    ``density_marked`` is False where the mark names no density and 1.2 holds; pressures are gauge
    where they say so, else absolute.
    """

    text: str
    material: str
    head: str
    packing_groups: tuple[str, ...]
    max_relative_density: float
    density_marked: bool
    test_kpa: float

    @property
    def gauge_55_kpa(self) -> float:
        """Most gauge pressure at 55 °C, ⅔ P; 173.24a(b)(4)(i)."""
        return self.test_kpa * 2.0 / 3.0

    @property
    def vapour_50_kpa(self) -> float:
        """Vapour pressure at 50 °C that a liquid must stay under, kPa absolute; (b)(4)(ii)."""
        return (self.test_kpa + 100.0) * 4.0 / 7.0

    @property
    def vapour_55_kpa(self) -> float:
        """Vapour pressure at 55 °C that a liquid must stay under, kPa absolute; (b)(4)(iii)."""
        return (self.test_kpa + 100.0) * 2.0 / 3.0


def least_test_kpa(vapour_55_kpa: float, *, floor_kpa: float = LEAST_TEST_KPA) -> float:
    """Test pressure that a mark needs for a liquid, kPa, in whole tens; 49 CFR 178.605(d)(3)."""
    return max(math.ceil((1.5 * vapour_55_kpa - 100.0) / 10.0) * 10.0, floor_kpa)


def parse(text: str, *, field: str = "un_mark") -> UnMark:
    """Read a mark as it stands on a drum; what follows the test pressure is kept and not read.

    Raises
    ------
    Invalid
        It is no mark of a drum for liquids; the fault says which part and why.
    """
    written = " ".join(text.split())
    parts = [part.strip() for part in written.upper().removeprefix("UN").split("/")]
    if len(written) > MARK_LENGTH or len(parts) < _PARTS:
        raise _refused(field, text, "is no UN mark", f"Write it as it stands, {_EXAMPLE}.")
    material, head = _code(field, text, parts[0])
    grade = _GRADE.fullmatch(parts[1])
    if parts[2] == "S" or parts[2].startswith("S "):
        mend = "Look again: a drum of liquid bears a test pressure there. Leave it out if unsure."
        raise _refused(field, text, "is the mark of a drum for solids (S)", mend)
    if grade is None or grade["group"] not in _GROUPS:
        problem = f"has {parts[1]!r} where the packing group stands"
        raise _refused(field, text, problem, "Write X, Y or Z with the density, like Y1.4.")
    density = PLAIN_DENSITY if grade["density"] is None else float(grade["density"])
    if not _DENSITIES[0] <= density <= _DENSITIES[1]:
        problem = f"has {density:g} where the relative density stands"
        mend = f"Give {_DENSITIES[0]:g} to {_DENSITIES[1]:g}; a mass in kg is of a drum for solids."
        raise _refused(field, text, problem, mend)
    pressure = _PRESSURE.fullmatch(parts[2])
    low, high = _PRESSURES_KPA
    if pressure is None or not low <= float(pressure["kpa"]) <= high:
        problem = f"has {parts[2]!r} where the test pressure stands"
        raise _refused(field, text, problem, f"Write it in kPa, {low:g} to {high:g}, like 150.")
    return UnMark(
        text=written,
        material=material,
        head=head,
        packing_groups=_GROUPS[grade["group"]],
        max_relative_density=density,
        density_marked=grade["density"] is not None,
        test_kpa=float(pressure["kpa"]),
    )


def _code(field: str, text: str, code: str) -> tuple[str, str]:
    found = _CODE.fullmatch(code)
    if found is None:
        problem = f"has {code!r} where the kind of packaging stands"
        raise _refused(field, text, problem, f"Write it as it stands, {_EXAMPLE}.")
    if found["kind"] != "1":
        problem = f"is of another packaging than a drum ({code})"
        raise _refused(field, text, problem, "Read the mark of the drum; its code begins with 1.")
    if found["material"] not in _MATERIALS or found["head"] not in _HEADS:
        problem = f"has {code!r}, which is no drum for liquids"
        mend = "Look again: 1A1 is a steel drum with a closed head, 1A2 one with an open head."
        raise _refused(field, text, problem, mend)
    return _MATERIALS[found["material"]], _HEADS[found["head"]]


def _refused(field: str, value: str, problem: str, mend: str) -> Invalid:
    return Invalid("The UN mark cannot be read.", [Fault(field, value, problem, mend)])
