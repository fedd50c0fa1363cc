"""Deep vacuum; the levels are our judgement. Pressure itself is told in ``test_stored``."""

import pytest

from drumkeep.domain.alarms import AlarmKind, Priority
from drumkeep.domain.wording import plain
from tests.builders.alarms import drum, kinds, one


@pytest.mark.parametrize(
    ("kpa", "was", "told"),
    [
        (-24.9, False, False),
        (-25.1, False, True),
        (-20.1, True, True),
        (-19.9, True, False),
        (-12.0, False, False),
        (0.0, False, False),
    ],
)
def test_a_vacuum_is_told_from_25_kpa_until_20(kpa, was, told):
    under = {AlarmKind.VACUUM: {"K7Q-X4M"}} if was else None

    assert kinds(drum(pressure_kpa=kpa), under=under) == ([AlarmKind.VACUUM] if told else [])


def test_a_drum_of_unknown_temperature_raises_nothing_new_and_ends_nothing():
    unknown = drum(pressure_kpa=-30.0, supported=False)

    assert kinds(unknown) == []
    assert kinds(unknown, under={AlarmKind.VACUUM: {"K7Q-X4M"}}) == [AlarmKind.VACUUM]
    assert kinds(drum(pressure_kpa=None)) == []


def test_a_vacuum_is_of_low_priority_and_says_how_deep_and_what_to_do():
    finding = one(drum("A", pressure_kpa=-26.0), drum("B", pressure_kpa=-31.0), drum("C"))

    assert (finding.priority, finding.audience) == (Priority.LOW, ("manager",))
    assert finding.drums == ("A", "B")
    assert "-31 kPa" in plain(finding.message)
    assert "under dry gas" in finding.message
