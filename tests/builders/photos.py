"""Photos as a phone makes them, and files that only look like some."""

import struct
import zlib
from io import BytesIO

from PIL import Image

BLUE, RED = (20, 40, 200), (200, 30, 20)
NORTH_EAST = {1: "N", 2: (47.0, 36.0, 0.0), 3: "E", 4: (8.0, 30.0, 0.0)}
"""A place, as GPS tags of EXIF 2.32, section 4.6.6, write it."""


def photo(kind: str = "JPEG", *, size: tuple[int, int] = (400, 300), turned: bool = False) -> bytes:
    """Return a photo whose left half is blue and right half red.

    It says where and when it was taken; ``turned``: lying on its side, with EXIF saying so.
    """
    picture = Image.new("RGB", size, RED)
    picture.paste(BLUE, (0, 0, size[0] // 2, size[1]))
    tags = Image.Exif()
    if turned:
        picture = picture.transpose(Image.Transpose.ROTATE_90)
        tags[0x0112] = 6  # turn it 90° clockwise to see it upright
    tags[0x010F] = "Maker of the phone"
    tags.get_ifd(0x8825).update(NORTH_EAST)
    tags.get_ifd(0x8769)[36867] = "2026:01:31 05:02:03"
    written = BytesIO()
    picture.save(written, kind, exif=tags)
    return written.getvalue()


def _chunk(name: bytes, content: bytes) -> bytes:
    told = struct.pack(">I", len(content)) + name + content
    return told + struct.pack(">I", zlib.crc32(name + content))


def bomb(side: int) -> bytes:
    """Return some hundred bytes of PNG that say they are a picture of so many pixels each way."""
    head = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    rows = zlib.compress(b"\0" * 1000)
    chunks = _chunk(b"IHDR", head) + _chunk(b"IDAT", rows) + _chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunks
