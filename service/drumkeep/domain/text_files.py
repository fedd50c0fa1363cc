"""Texts in files that people's programs wrote, whatever their encoding."""

import codecs
from typing import Final

_BOMS: Final = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def text_of(content: bytes) -> str:
    """Return a file's text: as its byte order mark says, else UTF-8, else Windows-1252.

    What is no text at all is decoded too; it holds NUL characters then.
    """
    encoding = next((name for mark, name in _BOMS if content.startswith(mark)), "utf-8")
    try:
        return content.decode(encoding)
    except UnicodeDecodeError:
        # What programs on Windows write that know no UTF-8; a degree sign is one octet there.
        return content.decode("cp1252", errors="replace")
