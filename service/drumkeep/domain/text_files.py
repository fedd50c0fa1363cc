"""Texts in files that people's programs wrote, whatever their encoding."""

import codecs
import io
from functools import partial
from typing import Final

_BLOCK: Final = 1 << 16

_BOMS: Final = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def text_of(content: bytes) -> str:
    """Return a file's text: as its byte order mark says, else UTF-8, else Windows-1252.

    What is no text at all is decoded too; it holds NUL characters then.
    """
    return opened_text(content).read()


def opened_text(content: bytes) -> io.TextIOWrapper:
    """Open a file's text as :func:`text_of` reads it, without ever holding all of it."""
    encoding = next((name for mark, name in _BOMS if content.startswith(mark)), "utf-8")
    try:
        holds_nul(_opened(content, encoding))
    except UnicodeDecodeError:
        # What programs on Windows write that know no UTF-8; a degree sign is one octet there.
        return _opened(content, "cp1252")
    return _opened(content, encoding)


def holds_nul(text: io.TextIOWrapper) -> bool:
    """Read a text to its end; return whether it holds a NUL character and so is none."""
    return sum("\0" in block for block in iter(partial(text.read, _BLOCK), "")) > 0


def _opened(content: bytes, encoding: str) -> io.TextIOWrapper:
    errors = "replace" if encoding == "cp1252" else "strict"
    return io.TextIOWrapper(io.BytesIO(content), encoding, errors, newline="")
