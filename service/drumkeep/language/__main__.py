"""Brings the catalogues up to date with what the sources say.

``python -m drumkeep.language`` adds new messages without a translation and drops those that nothing
says any more; ``--take FILE`` takes over the translations of another catalogue first; ``--check``
changes nothing, lists what is missing or wrong, and fails where there is any.
"""

import argparse
import sys
from pathlib import Path
from typing import Final

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from drumkeep.language.extraction import messages
from drumkeep.language.faults import faults
from drumkeep.language.tongue import ENGLISH, LANGUAGES

_WIDTH: Final = 100
_HERE: Final = Path(__file__).parent


def main() -> int:
    """Run the command."""
    parser = argparse.ArgumentParser(prog="python -m drumkeep.language", description=__doc__)
    parser.add_argument("--check", action="store_true", help="change nothing, list the faults")
    parser.add_argument("--take", type=Path, metavar="FILE", help="a catalogue to take over")
    chosen = parser.parse_args()
    wrong: list[str] = []
    for code in LANGUAGES:
        if code != ENGLISH:
            wrong += _brought_up_to_date(code, take=chosen.take, write=not chosen.check)
    print("\n".join(wrong) or "Complete.", file=sys.stderr)  # noqa: T201 - a command
    return 1 if wrong and chosen.check else 0


def _brought_up_to_date(code: str, *, take: Path | None, write: bool) -> list[str]:
    path = _HERE / f"{code}.po"
    known = read_po(path.read_bytes().splitlines(), locale=code) if path.exists() else Catalog(code)
    taken = read_po(take.read_bytes().splitlines(), locale=code) if take else Catalog(code)
    made = Catalog(code, fuzzy=False)
    for place, message in messages():
        found = (taken.get(_key(message)), known.get(_key(message)))
        string = next((m.string for m in found if m is not None and m.string), None)
        made.add(message, string, locations=[(place, 0)])
    if write:
        with path.open("wb") as file:
            write_po(file, made, width=_WIDTH, include_lineno=False, omit_header=True)
    return faults(made)


def _key(message: str | tuple[str, ...]) -> str:
    return message if isinstance(message, str) else message[0]


if __name__ == "__main__":
    sys.exit(main())
