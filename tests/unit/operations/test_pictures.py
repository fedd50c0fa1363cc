"""Photos are made anew from what is in them, and hostile files are refused with a reason."""

import random
from io import BytesIO

import pytest
from PIL import Image

from drumkeep.errors import Invalid
from drumkeep.operations.pictures import LONGEST_SIDE, MOST_BYTES, SMALL_SIDE, made_anew
from tests.builders.photos import BLUE, RED, bomb, photo


def seen(content: bytes) -> Image.Image:
    picture = Image.open(BytesIO(content))
    picture.load()
    assert picture.format == "JPEG"
    return picture


def near(found: object, colour: tuple[int, int, int]) -> bool:
    assert isinstance(found, tuple)
    return all(abs(a - b) < 12 for a, b in zip(found, colour, strict=True))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_photos_of_every_kind_become_a_jpeg_of_the_same_picture(kind):
    made = made_anew(photo(kind))
    whole = seen(made.whole)
    assert whole.size == (made.wide, made.tall) == (400, 300)
    assert near(whole.getpixel((50, 150)), BLUE)
    assert near(whole.getpixel((350, 150)), RED)
    assert max(seen(made.small).size) == SMALL_SIDE


def test_a_photo_taken_sideways_is_turned_upright():
    made = made_anew(photo(turned=True))
    whole = seen(made.whole)
    assert whole.size == (400, 300)
    assert near(whole.getpixel((50, 150)), BLUE)


def test_nothing_of_where_and_with_what_it_was_taken_is_kept_but_the_clock():
    source = photo()
    assert b"Maker of the phone" in source
    assert Image.open(BytesIO(source)).getexif().get_ifd(0x8825)[1] == "N"
    made = made_anew(source)
    for kept in (made.whole, made.small):
        assert not seen(kept).getexif()
        assert b"Exif" not in kept
        assert b"Maker" not in kept
    assert made.taken == "2026-01-31 05:02:03"


def test_a_large_photo_is_made_smaller():
    made = made_anew(photo(size=(4000, 3000)))
    assert (made.wide, made.tall) == (LONGEST_SIDE, LONGEST_SIDE * 3 // 4)


def test_what_is_seen_through_is_white():
    written = BytesIO()
    Image.new("RGBA", (40, 40), (0, 0, 0, 0)).save(written, "PNG")
    assert near(seen(made_anew(written.getvalue()).whole).getpixel((20, 20)), (255, 255, 255))


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (b"", "is missing"),
        (b"\xff\xd8" + b"x" * MOST_BYTES, "is too large"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "no JPEG, PNG or WebP"),
        (b"GIF89a" + b"\0" * 40, "no JPEG, PNG or WebP"),
        (b"%PDF-1.7", "no JPEG, PNG or WebP"),
        (bomb(6000), "has too many pixels"),
        (bomb(60_000), "far too many pixels"),
        (bomb(1000), "damaged"),
        (photo()[:2000], "damaged"),
        (photo(size=(8, 300)), "too small"),
    ],
)
def test_what_is_no_photo_is_refused_with_the_reason_and_a_mend(content, problem):
    with pytest.raises(Invalid) as refused:
        made_anew(content)
    (fault,) = refused.value.faults
    assert fault.field == "photo"
    assert problem in fault.problem
    assert fault.mend


def test_damaged_files_are_refused_and_never_break_it():
    chance = random.Random(5)  # noqa: S311 - the same each time
    for kind in ("JPEG", "PNG", "WEBP"):
        source = photo(kind, size=(64, 48))
        for _ in range(60):
            spoiled = bytearray(source)
            for _ in range(chance.randint(1, 20)):
                spoiled[chance.randrange(len(spoiled))] = chance.randrange(256)
            try:
                made = made_anew(bytes(spoiled))
            except Invalid:
                continue
            assert not seen(made.whole).getexif()
