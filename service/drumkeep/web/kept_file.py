"""A file that a form keeps in itself between its two steps: nothing is stored meanwhile."""

import zlib
from base64 import urlsafe_b64decode, urlsafe_b64encode
from typing import Final

from starlette.datastructures import FormData, UploadFile

from drumkeep.asgi.soundness import LONGEST

_KEPT: Final = "kept"
"""The form's field of texts."""


async def sent_file(form: FormData, *, most: int) -> bytes:
    """Return the file that came, or the one that the form kept; nothing if there is none.

    Parameters
    ----------
    most
        Bytes that could have been uploaded; what was kept is no longer, whatever it says of itself.
    """
    file = form.get("file")
    if isinstance(file, UploadFile) and file.filename:
        return await file.read()
    kept = "".join(text for text in form.getlist(_KEPT) if isinstance(text, str))
    try:
        return zlib.decompressobj().decompress(urlsafe_b64decode(kept), most)
    except (ValueError, zlib.error):
        return b""


def kept_texts(content: bytes) -> list[str]:
    """Return a file, compressed, as texts of a form, none longer than a form's may be."""
    if not content:
        return []
    text = urlsafe_b64encode(zlib.compress(content, 9)).decode()
    return [text[start : start + LONGEST] for start in range(0, len(text), LONGEST)]
