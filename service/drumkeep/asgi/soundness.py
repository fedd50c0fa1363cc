"""Refuses what no field could mean, before any field is looked at.

Databases, logs and browsers each stumble over something else: NUL characters, halves of surrogate
pairs, numbers past 64 bits, NaN, bottomless nesting. One look at the whole request spares every
field and every column of looking for all of them.
"""

import json
import math
import re
from collections.abc import Iterable
from typing import Final

from fastapi import HTTPException, Request

from drumkeep.asgi.faults import sounds_secret
from drumkeep.errors import Fault, Invalid

DEEPEST: Final = 32
LONGEST: Final = 10_000
"""Characters of one string."""

_FORMS: Final = frozenset({"application/x-www-form-urlencoded", "multipart/form-data"})
_READ_ELSEWHERE: Final = frozenset({"application/senml+json", "text/csv"})
_PHOTOS: Final = "/api/v1/photos"
_UNSOUND: Final = re.compile("[\x00\ud800-\udfff]")
_INT64: Final = range(-(2**63), 2**63)


async def refuse_unsound(request: Request) -> None:
    """Look at query and body; SenML, CSV and photos have decoders of their own.

    The path the middleware looks at.

    Raises
    ------
    Invalid
        Naming where the first unsound thing stands.
    HTTPException
        415 if the body is of a kind that nothing here reads.
    """
    _refuse_pairs(request.query_params.multi_items())
    # A body that its endpoint does not read is not read here either.
    length = request.headers.get("content-length")
    if length == "0" or (length is None and "transfer-encoding" not in request.headers):
        return
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind in _READ_ELSEWHERE or (kind.startswith("image/") and request.url.path == _PHOTOS):
        return
    if kind in _FORMS and not request.url.path.startswith("/api/"):
        form = await request.form()
        _refuse_pairs((name, text) for name, text in form.multi_items() if isinstance(text, str))
    elif kind == "application/json" or (kind.startswith("application/") and kind.endswith("+json")):
        if await request.body():
            _refuse(json_fault(await _parsed(request)))
    elif await request.body():
        raise HTTPException(415)


async def _parsed(request: Request) -> object:
    try:
        return await request.json()
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        problem = f"is not JSON: {error}"
    except (ValueError, RecursionError):
        problem = "cannot be read: a number is too long, or the nesting too deep"
    raise Invalid(
        "The request cannot be used as it is.",
        [Fault("", None, problem, "Send JSON (RFC 8259) in UTF-8.")],
    )


def json_fault(data: object) -> Fault | None:
    """Return the first unsound thing in parsed JSON, if there is one."""
    todo: list[tuple[str, object, int]] = [("", data, 0)]
    while todo:
        place, value, depth = todo.pop()
        if isinstance(value, str):
            fault = text_fault(place, value)
        elif isinstance(value, dict | list):
            fault = None
            if depth >= DEEPEST:
                return Fault(
                    place,
                    None,
                    f"is nested more than {DEEPEST} deep",
                    "Send the flat form that /openapi.json describes.",
                )
            pairs = value.items() if isinstance(value, dict) else enumerate(value)
            for key, inner in pairs:
                path = f"{place}.{key}" if place else str(key)
                fault = fault or (text_fault(path, key) if isinstance(key, str) else None)
                todo.append((path, inner, depth + 1))
        else:
            fault = _number_fault(place, value)
        if fault is not None:
            return fault
    return None


_FREE_TEXTS: Final = ("note", "reason", "damage")
"""How fields end that hold what a person wrote; a scanned label has control characters of right."""
_CONTROLS: Final = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")


def text_fault(place: str, text: str) -> Fault | None:
    """Return what is unsound about a text, if anything.

    What may be a secret is not repeated; no field has been looked at yet, so it goes by the name.
    """
    told = None if sounds_secret(place.rpartition(".")[2]) else text
    if _UNSOUND.search(text):
        return Fault(
            place,
            told,
            "has a NUL character or half a surrogate pair in it",
            "Write it without, in UTF-8.",
        )
    if place.endswith(_FREE_TEXTS) and _CONTROLS.search(text):
        return Fault(place, told, "has control characters in it", "Write it as plain text.")
    if len(text) > LONGEST:
        return Fault(
            place,
            told,
            f"is {len(text)} characters long",
            f"Write at most {LONGEST} characters.",
        )
    return None


def _number_fault(place: str, value: object) -> Fault | None:
    if isinstance(value, int) and value not in _INT64:
        return Fault(place, value, "is past 64 bits", "Write an ordinary number.")
    if isinstance(value, float) and not math.isfinite(value):
        return Fault(place, value, "is not a finite number", "Write an ordinary number.")
    return None


def _refuse_pairs(pairs: Iterable[tuple[str, str]]) -> None:
    for name, text in pairs:
        _refuse(text_fault(name, name) or text_fault(name, text))


def _refuse(fault: Fault | None) -> None:
    if fault is not None:
        raise Invalid("The request cannot be used as it is.", [fault])
