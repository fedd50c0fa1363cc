"""What is wrong with a catalogue."""

import re
from string import Formatter

from babel.messages.catalog import Catalog, Message

_PERCENT = re.compile(r"%\((\w+)\)s")


def faults(catalogue: Catalog) -> list[str]:
    """List the messages that have no translation, or one that would lose or invent a value."""
    return [
        f"{message.id!r} {fault}"
        for message in catalogue
        if message.id and (fault := _fault(message)) is not None
    ]


def _fault(message: Message) -> str | None:
    ids = (message.id,) if isinstance(message.id, str) else tuple(message.id)
    strings = (message.string,) if isinstance(message.string, str) else tuple(message.string or ())
    if not strings or not all(strings):
        return "has no translation"
    for string in strings:
        try:
            values = _values(string)
        except ValueError:
            return f"has a brace too many or too few in its translation {string!r}"
        if values not in map(_values, ids):
            return f"has other values in its translation {string!r}"
    return None


def _values(text: str) -> set[str]:
    if "%(" in text:
        return set(_PERCENT.findall(text))
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}
