"""Photos as people send them, checked by what is in them and made anew.

Nothing of the file that came is kept but its picture: it is decoded, turned upright, made smaller
and encoded again, so that neither the place where it was taken nor anything else that a file can
carry is stored or shown to others.
"""

import re
from dataclasses import dataclass
from hashlib import sha256
from io import BytesIO
from typing import Final

from PIL import Image, ImageOps, UnidentifiedImageError

from drumkeep.errors import Fault, Invalid

MOST_BYTES: Final = 12 * 1024 * 1024
"""Of a file: twice what a phone makes of twelve million pixels."""

LONGEST_SIDE: Final = 2048
"""Pixels of the longer side of what is kept."""

SMALL_SIDE: Final = 320
"""Pixels of the longer side of what lists show."""

_FORMATS: Final = ("JPEG", "PNG", "WEBP")
_MOST_PIXELS: Final = {"JPEG": 52_000_000, "PNG": 25_000_000, "WEBP": 25_000_000}
"""A JPEG is decoded small, but a progressive one is kept whole meanwhile, three bytes a pixel; of
the others every pixel takes four."""

_LEAST_SIDE: Final = 16
_QUALITY: Final = 85
_SMALL_QUALITY: Final = 75
_EXIF_BLOCK: Final = 0x8769
_TAKEN: Final = 36867
_TAKEN_FORM: Final = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)")
_TITLE: Final = "The photo cannot be kept."
_MEND: Final = "Send a photo as JPEG, PNG or WebP, as phones make them."


@dataclass(frozen=True, slots=True)
class Picture:
    """A photo made anew: the JPEG that is kept and a small one, and what is told of it.

    ``taken`` is what the camera's clock said, as 2026-01-31 05:00:00; None where it said nothing.
    """

    whole: bytes
    small: bytes
    wide: int
    tall: int
    taken: str | None
    source_sha256: str

    @property
    def sha256(self) -> str:
        """Checksum of the JPEG that is kept."""
        return sha256(self.whole).hexdigest()


def made_anew(content: bytes, *, field: str = "photo") -> Picture:
    """Check a file by what is in it, and make its picture anew.

    Raises
    ------
    Invalid
        It is empty, too large, no photo, damaged, or has more pixels than can be.
    """
    if not content:
        raise _refusal(field, None, "is missing", "Take a photo, or choose one.")
    if len(content) > MOST_BYTES:
        size = f"{len(content) / 2**20:.1f} MB"
        mend = f"Send one of at most {MOST_BYTES // 2**20} MB: set the camera to a smaller size."
        raise _refusal(field, size, "is too large", mend)
    try:
        return _made(content, field=field)
    except Invalid:
        raise
    except Exception as error:  # noqa: BLE001 - what hostile bytes make a decoder raise is no list
        raise _refusal(field, None, f"cannot be read: {_cause(error)}", _MEND) from None


def _made(content: bytes, *, field: str) -> Picture:
    with Image.open(BytesIO(content), formats=_FORMATS) as opened:
        wide, tall = opened.size
        most = _MOST_PIXELS[str(opened.format)]
        if wide * tall > most:
            mend = f"Send one of at most {most // 1_000_000} million pixels."
            raise _refusal(field, f"{wide} x {tall}", "has too many pixels", mend)
        if min(wide, tall) < _LEAST_SIDE:
            mend = "Send the photo itself."
            raise _refusal(field, f"{wide} x {tall}", "is too small to show anything", mend)
        taken = _taken(opened)
        opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
        picture = _on_white(ImageOps.exif_transpose(opened))
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    small = picture.copy()
    small.thumbnail((SMALL_SIDE, SMALL_SIDE))
    return Picture(
        whole=_jpeg(picture, quality=_QUALITY),
        small=_jpeg(small, quality=_SMALL_QUALITY),
        wide=picture.width,
        tall=picture.height,
        taken=taken,
        source_sha256=sha256(content).hexdigest(),
    )


def _on_white(picture: Image.Image) -> Image.Image:
    """Return a picture without transparency."""
    if picture.mode == "RGB":
        return picture
    clear = picture.convert("RGBA")
    ground = Image.new("RGB", clear.size, "white")
    ground.paste(clear, mask=clear.getchannel("A"))
    return ground


def _jpeg(picture: Image.Image, *, quality: int) -> bytes:
    # A picture carries what its file told of it; a new one carries nothing.
    bare = Image.new("RGB", picture.size)
    bare.paste(picture)
    written = BytesIO()
    bare.save(written, "JPEG", quality=quality, optimize=True)
    return written.getvalue()


def _taken(picture: Image.Image) -> str | None:
    """Return what the camera's clock said, if it said it as it should."""
    said = picture.getexif().get_ifd(_EXIF_BLOCK).get(_TAKEN)
    found = _TAKEN_FORM.fullmatch(said.strip("\0 ")) if isinstance(said, str) else None
    return None if found is None else f"{found[1]}-{found[2]}-{found[3]} {found[4]}"


def _cause(error: Exception) -> str:
    if isinstance(error, Image.DecompressionBombError | Image.DecompressionBombWarning):
        return "it has far too many pixels"
    if isinstance(error, UnidentifiedImageError):
        return "it is no JPEG, PNG or WebP"
    return "it is damaged or not whole"


def _refusal(field: str, value: str | None, problem: str, mend: str) -> Invalid:
    return Invalid(_TITLE, [Fault(field, value, problem, mend)])
