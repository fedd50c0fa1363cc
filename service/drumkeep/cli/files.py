"""Files that somebody named to a command."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from drumkeep.errors import Fault, Invalid


@contextmanager
def opened_file(file: Path, *, title: str) -> Iterator[BinaryIO]:
    """Open a file for reading; ``title`` says what cannot be done if that fails."""
    try:
        content = file.open("rb")
    except OSError as error:
        problem = f"cannot be read: {error.strerror}"
        fault = Fault("FILE", str(file), problem, "Name a file that is there.")
        raise Invalid(title, [fault]) from None
    with content:
        yield content


def read_file(file: Path, *, title: str) -> bytes:
    """Return what is in a file; ``title`` says what cannot be done if that fails."""
    with opened_file(file, title=title) as content:
        return content.read()
