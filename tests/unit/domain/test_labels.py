"""Sizes of labels lie on their sheets, and words on labels say both units and no two dates."""

from datetime import date
from itertools import combinations

import pytest

from drumkeep.domain.labels import (
    CAUTION_SHEET,
    SIZES,
    DrumLabel,
    LabelSize,
    storage_words,
)
from drumkeep.domain.products import Side, default_product

SHEETS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""ISO 216 A4; ANSI/ASME Y14.1 size A, 8.5 by 11 inches of 25.4 mm."""


@pytest.mark.parametrize("size", SIZES.values(), ids=list(SIZES))
def test_labels_of_a_size_lie_on_the_sheet_side_by_side(size: LabelSize):
    boxes = []
    for spot in range(size.per_sheet):
        left, top = size.corner(spot)
        right, bottom = left + size.width, top + size.height
        assert left >= -1e-9
        assert top >= -1e-9
        assert right <= size.sheet[0] + 1e-9
        assert bottom <= size.sheet[1] + 1e-9
        boxes.append((left, top, right, bottom))
    for one, other in combinations(boxes, 2):
        apart = (
            one[2] <= other[0] + 1e-9
            or other[2] <= one[0] + 1e-9
            or one[3] <= other[1] + 1e-9
            or other[3] <= one[1] + 1e-9
        )
        assert apart


@pytest.mark.parametrize("size", SIZES.values(), ids=list(SIZES))
def test_size_is_named_by_what_it_measures(size: LabelSize):
    sheet, _, measures = size.code.rpartition("-")
    unit = 25.4 if measures.endswith("in") else 1.0
    width, height = (float(side) for side in measures.rstrip("inm").split("x"))
    assert size.width == pytest.approx(width * unit, abs=0.1)
    assert size.height == pytest.approx(height * unit, abs=0.1)
    assert size.sheet == pytest.approx(SHEETS_MM.get(sheet, (101.6, 152.4)))


def test_labels_go_on_behind_those_that_were_used_and_onto_the_next_sheet():
    size = SIZES["a4-99.1x93.1mm"]
    assert size.per_sheet == 6
    assert list(size.spots(4, start=5)) == [(0, 4), (0, 5), (1, 0), (1, 1)]
    left, top = size.corner(3)
    assert left == pytest.approx(210.0 - 4.65 - 99.1)
    assert top == pytest.approx((297.0 - 3 * 93.1) / 2 + 93.1)


def test_storage_limits_stand_in_both_units_the_persons_first():
    iso = default_product(Side.ISO)
    plain = [storage_words(iso, us=us).replace("\N{NO-BREAK SPACE}", " ") for us in (True, False)]
    assert plain == [
        "Store at 50\N{EN DASH}75 °F (10.0\N{EN DASH}23.9 °C)",
        "Store at 10.0\N{EN DASH}23.9 °C (50\N{EN DASH}75 °F)",
    ]


@pytest.mark.parametrize(
    ("side", "word"), [(Side.ISO, "sensitise"), (Side.RESIN, "under pressure")]
)
def test_cautions_go_by_side_and_defer_to_the_data_sheet(side: Side, word: str):
    day = date(2026, 3, 4)
    label = DrumLabel("", "K7Q-X4M", side, "", "", day, day, day, "")
    assert word in " ".join(label.cautions)
    assert any(line.startswith("Bulged: do not move, do not open.") for line in label.cautions)
    assert label.cautions[-1] == CAUTION_SHEET
