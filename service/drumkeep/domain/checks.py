"""Checks that collect faults, so that a person mends all of them at once."""

import re
import unicodedata
from collections.abc import Collection
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, TypeVar

from drumkeep.errors import Fault, Invalid

CODE_LENGTH: Final = 40
NAME_LENGTH: Final = 120

_CODE: Final = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_EnumT = TypeVar("_EnumT", bound=StrEnum)


@dataclass
class Checks:
    """The faults found so far in one thing asked for.

    Attributes
    ----------
    faults
        In the order in which they were found.
    """

    faults: list[Fault] = field(default_factory=list)

    def add(self, name: str, value: object, problem: str, mend: str) -> None:
        """Note one fault of the field."""
        self.faults.append(Fault(name, value, problem, mend))

    def code(self, name: str, value: str) -> None:
        """Check a code that stands in addresses and topics."""
        if len(value) > CODE_LENGTH or not _CODE.fullmatch(value):
            self.add(
                name,
                value,
                "is no code",
                f"Use 1 to {CODE_LENGTH} small letters and digits, in words joined by single "
                "dashes, like north-shed.",
            )

    def text(self, name: str, value: str, *, longest: int = NAME_LENGTH) -> None:
        """Check one line of text that people read."""
        if not value.strip():
            self.add(name, value, "is empty", "Write at least one letter.")
        elif len(value) > longest:
            self.add(
                name,
                value,
                f"is {len(value)} characters long",
                f"Write at most {longest} characters.",
            )
        elif any(unicodedata.category(symbol) in {"Cc", "Cs"} for symbol in value):
            self.add(
                name,
                value,
                "has control characters in it",
                "Write it as one line of plain text.",
            )

    def within(
        self, name: str, value: float | None, *, low: float, high: float, unit: str = ""
    ) -> None:
        """Check that a number, if given, lies in a closed range; NaN does not."""
        if value is not None and not low <= value <= high:
            unit = unit and f" {unit}"
            self.add(
                name,
                value,
                "is out of range",
                f"Give a number from {low:g} to {high:g}{unit}.",
            )

    def one_of(self, name: str, value: str, choices: type[_EnumT]) -> _EnumT | None:
        """Check that a word is one of an enumeration's; None when it is not."""
        try:
            return choices(value)
        except ValueError:
            self.word(name, value, [str(choice) for choice in choices])
            return None

    def word(self, name: str, value: str, choices: Collection[str]) -> None:
        """Check that a word is one of those that are known."""
        if value not in choices:
            self.add(name, value, "is not known here", f"Use one of: {', '.join(choices)}.")

    def raise_faults(self, title: str) -> None:
        """Raise them, if there are any.

        Raises
        ------
        Invalid
            With the title and all faults.
        """
        if self.faults:
            raise Invalid(title, self.faults)
