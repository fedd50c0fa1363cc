"""A check that found a mismatch is told of until a later one of the same rig fits, or for a day."""

from drumkeep.domain.side_checks import CheckAnswer, CheckNow
from tests.builders.alarms import found, side_check


def causes(*checks: CheckNow) -> list[str]:
    return [finding.cause for finding in found(side_checks=checks)]


def test_only_a_later_check_of_the_same_rig_that_fits_ends_it():
    wrong = side_check(CheckAnswer.DO_NOT, hours_ago=2.0)
    other = side_check(CheckAnswer.FIT, hours_ago=1.0, cause="north/other")
    fits = side_check(CheckAnswer.FIT, hours_ago=1.0)
    assert causes(wrong, other) == ["north/rig"]
    assert causes(wrong, fits) == []
    assert causes(wrong, fits, side_check(CheckAnswer.DO_NOT, hours_ago=0.5)) == ["north/rig"]


def test_one_that_nobody_settled_is_told_of_for_a_day():
    assert causes(side_check(CheckAnswer.DO_NOT, hours_ago=23.9)) == ["north/rig"]
    assert causes(side_check(CheckAnswer.DO_NOT, hours_ago=24.0)) == []
