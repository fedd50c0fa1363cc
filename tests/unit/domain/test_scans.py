"""What scanned and typed codes of our own labels mean."""

import pytest

from drumkeep.domain import scans, tags
from drumkeep.errors import Invalid

TAG = "K7Q-X4" + tags.check_symbol("K7QX4")


@pytest.mark.parametrize(
    "text",
    [
        f"https://sheds.example/d/{TAG}",
        f"http://127.0.0.1:8000/d/{TAG.lower()}",
        f"HTTPS://SHEDS.EXAMPLE/D/{TAG}",
        f"https://sheds.example/drumkeep/d/{TAG}",
        f"https://sheds.example/drums/{TAG}?past=all",
        f"  {TAG}\r\n",
        TAG.replace("-", "").lower(),
    ],
)
def test_a_drums_label_or_its_tag_means_the_drum(text: str) -> None:
    assert scans.read(text) == scans.Scan(tag=TAG)


@pytest.mark.parametrize(
    "text",
    [
        "https://sheds.example/places/north/dock-1",
        "https://sheds.example/places/north/dock-1#film",
        "HTTPS://SHEDS.EXAMPLE/PLACES/NORTH/DOCK-1",
        "north/dock-1",
    ],
)
def test_a_places_label_or_its_name_means_the_place(text: str) -> None:
    assert scans.read(text) == scans.Scan(place="north/dock-1")


@pytest.mark.parametrize("text", ["https://example.com/", "tel:5550100", "WIFI:S:shed;;", ""])
def test_another_code_is_refused_with_what_to_scan(text: str) -> None:
    with pytest.raises(Invalid) as refused:
        scans.read(text, field="scan")
    (fault,) = refused.value.faults
    assert fault.field == "scan"
    assert "K7Q-X4M" in fault.mend


def test_a_place_where_a_drum_is_asked_for_is_told_apart() -> None:
    with pytest.raises(Invalid, match="That is a place"):
        scans.drum_read("north/dock-1")
