"""A check that found a mismatch is told of until a later one of the same rig fits, or for a day."""

from datetime import timedelta

from drumkeep.domain.alarm_rules.sides import mismatched
from drumkeep.domain.side_checks import CheckAnswer, CheckNow
from tests.builders.alarms import NOW


def check(answer: CheckAnswer, *, hours_ago: float, cause: str = "north/rig") -> CheckNow:
    return CheckNow(
        at=NOW - timedelta(hours=hours_ago),
        cause=cause,
        where="on the rig",
        site=1,
        place=6,
        answer=answer,
        reason="Both are A.",
        tags=("K7Q-X4M", "M3T-9WR"),
    )


def causes(*checks: CheckNow) -> list[str]:
    return [finding.cause for finding in mismatched(checks, now=NOW)]


def test_only_a_later_check_of_the_same_rig_that_fits_ends_it():
    wrong = check(CheckAnswer.DO_NOT, hours_ago=2.0)
    other = check(CheckAnswer.FIT, hours_ago=1.0, cause="north/other")
    fits = check(CheckAnswer.FIT, hours_ago=1.0)
    assert causes(wrong, other) == ["north/rig"]
    assert causes(wrong, fits) == []
    assert causes(wrong, fits, check(CheckAnswer.DO_NOT, hours_ago=0.5)) == ["north/rig"]


def test_one_that_nobody_settled_is_told_of_for_a_day():
    assert causes(check(CheckAnswer.DO_NOT, hours_ago=23.9)) == ["north/rig"]
    assert causes(check(CheckAnswer.DO_NOT, hours_ago=24.0)) == []
