"""A blowing agent that a product brings itself, from its supplier's vapour-pressure equation."""

from collections.abc import Mapping
from typing import Final

from drumkeep.errors import Fault
from drumkeep.thermal.vapour import Agent

_RANGES: Final = {
    "a": (-10.0, 20.0),
    "b": (1.0, 10_000.0),
    "c": (50.0, 400.0),
    "molar_mass": (16.0, 500.0),
    "low_c": (-60.0, 20.0),
    "high_c": (40.0, 200.0),
}
"""log10(p/kPa) = a − b/(t/°C + c); the range must hold what a drum in use goes through."""

_NEEDED: Final = ("name", *_RANGES)

ROOM_C: Final = 25.0
PLAUSIBLE_KPA: Final = (1.0, 1000.0)
"""At room temperature; an equation for mmHg, bar or kelvin lies outside, or nearly always."""

NAME_LENGTH: Final = 60


def own_agent(path: str, value: object, faults: list[Fault]) -> Agent | None:
    """Return the agent that a product states, or note what is wrong with it.

    Parameters
    ----------
    path
        Name of the field, for faults.
    value
        What was sent: name, molar_mass (g/mol), a, b, c, low_c and high_c.
    faults
        Where faults go.
    """
    if not isinstance(value, Mapping):
        mend = f"Give an object with {', '.join(_NEEDED)}."
        faults.append(Fault(path, value, "is no agent", mend))
        return None
    before = len(faults)
    for name in value:
        if name not in _NEEDED:
            mend = f"Use {', '.join(_NEEDED)}."
            faults.append(Fault(f"{path}.{name}", value[name], "is not known", mend))
    name = value.get("name")
    if not isinstance(name, str) or not 0 < len(name.strip()) <= NAME_LENGTH:
        mend = f"Write the agent's name, up to {NAME_LENGTH} characters."
        faults.append(Fault(f"{path}.name", name, "is no name", mend))
    numbers = {
        field: _number(f"{path}.{field}", value.get(field), field, faults) for field in _RANGES
    }
    if len(faults) > before or not isinstance(name, str):
        return None
    agent = Agent(
        **{field: number for field, number in numbers.items() if number is not None},
        name=name.strip(),
    )
    kpa = agent.pressure_kpa(ROOM_C)
    low, high = PLAUSIBLE_KPA
    if not low <= kpa <= high:
        mend = (
            "State the equation as log10(p in kPa) = a − b/(t in °C + c): "
            f"at {ROOM_C:g} °C it is to give {low:g} to {high:g} kPa."
        )
        faults.append(Fault(path, f"{kpa:.3g} kPa at {ROOM_C:g} °C", "is no blowing agent's", mend))
        return None
    return agent


def _number(path: str, value: object, field: str, faults: list[Fault]) -> float | None:
    low, high = _RANGES[field]
    if isinstance(value, bool) or not isinstance(value, int | float):
        faults.append(Fault(path, value, "is not a number", f"Give {low:g} to {high:g}."))
        return None
    if not low <= value <= high:
        faults.append(Fault(path, value, "is out of range", f"Give {low:g} to {high:g}."))
        return None
    return float(value)
