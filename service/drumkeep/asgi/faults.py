"""What the framework found wrong with a request, in our words: field, value, problem, mend."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from fastapi.exceptions import RequestValidationError

from drumkeep.errors import Fault

SECRET_FIELDS: Final = frozenset(
    {"password", "current_password", "new_password", "secret", "csrf", "url"}
)
"""Fields whose values are never repeated in an answer or a log."""

_SECRET_WORDS: Final = ("pass", "secret", "token", "key", "csrf", "url", "credential")

OWN: Final = "drumkeep"
"""Type of the validation errors that our own field types raise; they bring problem and mend."""

_NOT_REPEATED: Final = frozenset({"missing", "json_invalid", "extra_forbidden"})
"""Types of validation errors whose input may hold what we do not know."""

_SOURCES: Final = frozenset({"body", "query", "path", "header", "cookie"})
_Words = Callable[[Mapping[str, Any]], tuple[str, str]]

ZONE_MEND: Final = "Write it as 2026-01-31T05:00:00Z."


def _fixed(problem: str, mend: str) -> _Words:
    return lambda _ctx: (problem, mend)


_TEXT: Final = _fixed("is not text", 'Write it in quotes: "…".')
_NUMBER: Final = _fixed("is not a number", "Write a number without quotes, as in 21.5.")
_WHOLE: Final = _fixed("is not a whole number", "Write a whole number without quotes, as in 3.")
_TRUTH: Final = _fixed("is neither true nor false", "Write true or false without quotes.")
_MOMENT: Final = _fixed("is not a time", ZONE_MEND)
_DAY: Final = _fixed("is not a date", "Write it as 2026-01-31.")
_UUID: Final = _fixed(
    "is not a UUID", "Write 32 hexadecimal digits, as in 7f1e0c9a-3b52-4b7e-9c1d-2a6f5e8d4b10."
)
_LIST: Final = _fixed("is not a list", "Write it in brackets: [ … ].")
_OBJECT: Final = _fixed("is not an object", "Write it in braces: { … }.")

_WORDS: Final[dict[str, _Words]] = {
    "missing": _fixed("is missing", "Add it."),
    "extra_forbidden": _fixed("is not known here", "Leave it out, or correct its name."),
    "string_type": _TEXT,
    "string_unicode": _fixed("is not valid Unicode", "Send whole characters, in UTF-8."),
    "string_too_long": lambda ctx: (
        "is too long",
        f"Write at most {ctx['max_length']} characters.",
    ),
    "string_too_short": lambda ctx: (
        "is too short",
        f"Write at least {ctx['min_length']} characters.",
    ),
    "string_pattern_mismatch": lambda ctx: (
        "is not written as it should be",
        f"Write it to match {ctx['pattern']}.",
    ),
    "int_type": _WHOLE,
    "int_parsing": _WHOLE,
    "int_parsing_size": _WHOLE,
    "int_from_float": _WHOLE,
    "float_type": _NUMBER,
    "float_parsing": _NUMBER,
    "finite_number": _fixed("is not a finite number", "Write an ordinary number."),
    "bool_type": _TRUTH,
    "bool_parsing": _TRUTH,
    "datetime_type": _MOMENT,
    "datetime_parsing": _MOMENT,
    "datetime_from_date_parsing": _MOMENT,
    "datetime_object_invalid": _MOMENT,
    "timezone_aware": _fixed("has no time zone", ZONE_MEND),
    "date_type": _DAY,
    "date_parsing": _DAY,
    "date_from_datetime_parsing": _DAY,
    "date_from_datetime_inexact": _DAY,
    "uuid_type": _UUID,
    "uuid_parsing": _UUID,
    "is_instance_of": _UUID,
    "list_type": _LIST,
    "tuple_type": _LIST,
    "dict_type": _OBJECT,
    "model_type": _OBJECT,
    "model_attributes_type": _OBJECT,
    "too_long": lambda ctx: ("has too many entries", f"Send at most {ctx['max_length']}."),
    "too_short": lambda ctx: ("has too few entries", f"Send at least {ctx['min_length']}."),
    "greater_than": lambda ctx: ("is too small", f"Write more than {ctx['gt']}."),
    "greater_than_equal": lambda ctx: ("is too small", f"Write at least {ctx['ge']}."),
    "less_than": lambda ctx: ("is too large", f"Write less than {ctx['lt']}."),
    "less_than_equal": lambda ctx: ("is too large", f"Write at most {ctx['le']}."),
    "literal_error": lambda ctx: ("is not known here", f"Use {ctx['expected']}."),
    "enum": lambda ctx: ("is not known here", f"Use {ctx['expected']}."),
    "union_tag_invalid": lambda ctx: ("is not known here", f"Use {ctx['expected_tags']}."),
    "union_tag_not_found": lambda ctx: ("is missing a kind", f"Add {ctx['discriminator']}."),
    "json_invalid": lambda ctx: (
        f"is not JSON: {ctx.get('error', 'it cannot be parsed')}",
        "Send JSON (RFC 8259) in UTF-8.",
    ),
    OWN: lambda ctx: (ctx["problem"], ctx["mend"]),
}


def sounds_secret(name: str) -> bool:
    """Whether a field of this name may hold a secret, be it one of ours or a misspelt one."""
    return name in SECRET_FIELDS or any(word in name.lower() for word in _SECRET_WORDS)


def validation_faults(error: RequestValidationError) -> list[Fault]:
    """Put each validation error in our words."""
    return [fault_of(found) for found in error.errors()]


def fault_of(found: Mapping[str, Any]) -> Fault:
    """Put one error of pydantic's in our words, under the place that its ``loc`` tells."""
    place = list(found["loc"])
    if place and place[0] in _SOURCES:
        place = place[1:]
    kind = found["type"]
    secret = any(part in SECRET_FIELDS for part in place)
    # A missing field is reported with all that stood around it, and a field that we do not know
    # may be a secret under a misspelt name.
    sent = found.get("input")
    # What is sent in place of a value may hold anything, too.
    hidden = secret or kind in _NOT_REPEATED or isinstance(sent, dict | list)
    value = None if hidden else sent
    if kind == "json_invalid":
        place = []
    words = _WORDS.get(kind)
    problem, mend = (
        words(found.get("ctx") or {})
        if words is not None
        else (f"cannot be used: {found['msg']}", "Correct the value.")
    )
    if place and place[-1] == "cursor":
        mend = "Use the next_cursor of the page before, unchanged."
    return Fault(".".join(str(part) for part in place), value, problem, mend)
