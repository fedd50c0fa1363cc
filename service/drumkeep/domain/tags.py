"""A drum's name: short enough to shout across a shed, and safe against one slip.

Six of 32 symbols, written ``K7Q-X4M``. There is no 0, O, 1 or I. The last symbol is a check by the
Luhn mod N algorithm (ISO/IEC 7812-1 annex B, widened from 10 to 32 symbols): it finds every single
wrong symbol and nearly every swap of two neighbours.
"""

from random import Random
from typing import Final

from drumkeep.errors import Fault, Invalid

ALPHABET: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
LENGTH: Final = 6

_VALUES: Final = {symbol: value for value, symbol in enumerate(ALPHABET)}


def check_symbol(body: str) -> str:
    """Luhn mod 32 check symbol of the symbols before it.

    Parameters
    ----------
    body
        Symbols of the alphabet, in capitals.
    """
    size = len(ALPHABET)
    total = 0
    for place, symbol in enumerate(reversed(body)):
        value = _VALUES[symbol] * (2 - place % 2)
        total += value // size + value % size
    return ALPHABET[-total % size]


def parse(text: str, *, field: str = "tag") -> str:
    """Return the tag as it is written, ``K7Q-X4M``; take lower case, spaces and a missing dash.

    Parameters
    ----------
    text
        What was typed, scanned or sent.
    field
        Where it stood, for the error.

    Raises
    ------
    Invalid
        It is no tag; the fault says whether length, a symbol or the check is wrong.
    """
    symbols = "".join(text.split()).replace("-", "").upper()
    strange = [symbol for symbol in symbols if symbol not in _VALUES]
    if len(symbols) != LENGTH:
        problem = f"has {len(symbols)} symbols, a tag has {LENGTH}"
        mend = "Write the tag as it stands on the drum, like K7Q-X4M."
    elif strange:
        problem = f"has {strange[0]!r} in it, which no tag has"
        mend = "Tags use A-Z and 2-9 without O and I: look at the drum again."
    elif check_symbol(symbols[:-1]) != symbols[-1]:
        problem = "does not add up: a symbol is wrong, or two are swapped"
        mend = "Compare it with the drum, symbol by symbol."
    else:
        return f"{symbols[:3]}-{symbols[3:]}"
    raise Invalid("This is no drum tag.", [Fault(field, text, problem, mend)])


def make(random: Random) -> str:
    """Make a new tag; there are 33,554,432, so whoever stores it looks whether it is taken."""
    body = "".join(random.choices(ALPHABET, k=LENGTH - 1))
    return parse(body + check_symbol(body))
