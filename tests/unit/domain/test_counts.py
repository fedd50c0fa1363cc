"""What a count finds: every way in which what stands there may differ from the records."""

from drumkeep.domain.counts import MENDS, DifferenceKind, Kept, Mend, differences

HERE, ELSEWHERE = 1, 2


def kept(tag: str, place: int = HERE, *, gone: bool = False) -> tuple[str, Kept]:
    return tag, Kept(drum_id=1, tag=tag, place=place, gone=gone)


def test_what_is_as_on_record_is_no_difference():
    assert differences(["A", "B"], kept=dict([kept("A"), kept("B")]), place=HERE) == []


def test_every_kind_of_difference_is_told_of_its_drum():
    records = dict(
        [
            kept("HERE"),
            kept("MISSED"),
            kept("MOVED", ELSEWHERE),
            kept("THROWN", gone=True),
            kept("THROWN-ELSEWHERE", ELSEWHERE, gone=True),
        ]
    )
    seen = ["HERE", "MOVED", "THROWN", "THROWN-ELSEWHERE", "NOBODY"]

    found = {one.tag: one.kind for one in differences(seen, kept=records, place=HERE)}

    assert found == {
        "MISSED": DifferenceKind.NOT_SEEN,
        "MOVED": DifferenceKind.ELSEWHERE,
        "THROWN": DifferenceKind.GONE,
        "THROWN-ELSEWHERE": DifferenceKind.GONE,
        "NOBODY": DifferenceKind.UNKNOWN_TAG,
    }


def test_a_drum_that_is_gone_is_not_missed():
    assert differences([], kept=dict([kept("A", gone=True)]), place=HERE) == []


def test_every_difference_may_be_left_as_it_is():
    assert set(MENDS) == set(DifferenceKind)
    assert all(Mend.LEAVE in mends for mends in MENDS.values())
