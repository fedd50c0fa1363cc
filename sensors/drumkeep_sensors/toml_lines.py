"""Where in a TOML file each key stands, which Python's own reader does not tell.

Tables and keys that begin a line are found. What stands inside an inline table, or in an array over
several lines, is told with the line of the key that holds it.
"""

import re
from collections import Counter
from typing import Final

Path = tuple[str | int, ...]

_HEADER: Final = re.compile(r"\s*(\[{1,2})\s*([^\[\]]+?)\s*\]{1,2}\s*(?:#.*)?")
_KEY: Final = re.compile(r"\s*([A-Za-z0-9_\-.\"' ]+?)\s*=")


def lines_of(text: str) -> dict[Path, int]:
    """Return the line, from 1, of each table and key; items of ``[[x]]`` are numbered from 0."""
    found: dict[Path, int] = {(): 1}
    table: Path = ()
    items: Counter[Path] = Counter()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.fullmatch(line):
            table = _split(header[2])
            if header[1] == "[[":
                table = (*table, items[table])
                items[table[:-1]] += 1
            found.setdefault(table, number)
        elif key := _KEY.match(line):
            found.setdefault((*table, *_split(key[1])), number)
    return found


def line_at(lines: dict[Path, int], path: Path) -> int:
    """Return the line of a path, or of the nearest thing around it that has one."""
    while path not in lines:
        path = path[:-1]
    return lines[path]


def _split(dotted: str) -> Path:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))
