"""Numbers as programs and people write them: decimal points or commas, thousands in groups.

Thousands are grouped by threes, so a mark with other than three digits behind it is a decimal mark
for certain. With three it can be either, which only what stands beside it can tell.
"""

import re
from functools import lru_cache
from typing import Final

POINT: Final = "."
COMMA: Final = ","

_APART: Final = "' \N{RIGHT SINGLE QUOTATION MARK}\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}"
"""What may stand between groups, whatever the decimal mark is."""


def _form(mark: str, group: str) -> re.Pattern[str]:
    grouped = rf"[1-9]\d{{0,2}}(?P<apart>[{group}{_APART}])\d{{3}}(?:(?P=apart)\d{{3}})*"
    return re.compile(
        rf"(?P<sign>[-+\N{{MINUS SIGN}}]?)(?=[{mark}]?\d)(?P<whole>{grouped}|\d*)"
        rf"(?:[{mark}](?P<fraction>\d*))?(?P<power>[eE][-+]?\d+)?",
        re.ASCII,
    )


_FORMS: Final = {POINT: _form(POINT, COMMA), COMMA: _form(COMMA, POINT)}
_NO_DIGIT: Final = re.compile(r"\D")


@lru_cache(maxsize=16384)
def by_mark(text: str) -> dict[str, float]:
    """Return what a number is worth by the decimal mark with which it can be read.

    Both marks are there where none is needed; nothing is where it is no number.
    """
    found: dict[str, float] = {}
    for mark, form in _FORMS.items():
        if read := form.fullmatch(text):
            sign = "" if read["sign"] in {"", "+"} else "-"
            whole = _NO_DIGIT.sub("", read["whole"]) or "0"
            power = read["power"] or ""
            found[mark] = float(f"{sign}{whole}.{read['fraction'] or ''}{power}")
    return found
