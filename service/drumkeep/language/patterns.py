"""Finds the message of a sentence whose values are filled in already."""

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from string import Formatter
from typing import Final

_SENTENCE_END: Final = re.compile(r"(?<=[.!?…])\s+(?=[^\W\d_]|\d)")
_WORDS: Final = ("and", "or")
_JOINTS: Final = ("; ", ": ", ", ", *(f" {word} " for word in _WORDS))
_FIRST_WORD: Final = re.compile(r"\s*([^\W\d_]+)(?=[\s,.:;]|$)")
_LEAST_LETTERS: Final = 3
_LEAST_BETWEEN: Final = 5
"""Of a message that begins and ends with a value: one like ``{state} for {output}`` is anything."""
_LEAST_SIGNS: Final = 6
"""Letters, points and brackets that make a message out even with fewer letters."""

_WORD: Final = re.compile(r"[^\W\d_]{4,}")
_SAME: Final = re.compile(r"\{[tdmpw]:[^{}]*\}|[A-Z0-9][A-Z0-9./-]*")
"""The same in any language: a code, and a quantity that is filled in later (domain/wording.py)."""

TYPED: Final = frozenset(
    {
        "by",
        "code",
        "lot",
        "name",
        "others",
        "person",
        "place",
        "place_name",
        "product",
        "rig",
        "room",
        "site",
        "system",
        "tag",
        "typed",
        "unsaid",
        "warm_room",
    }
)
"""Names of values that people gave: a place called Yard keeps its name, and a reason its words."""

_LONGEST: Final = 2000
_DEEPEST: Final = 6
_MOST_TOGETHER: Final = 5
"""Sentences of one message."""


@dataclass(frozen=True, slots=True)
class _Pattern:
    regex: re.Pattern[str]
    names: tuple[str, ...]
    """Of the groups, in order."""

    string: str
    letters: int
    """How many letters of the message are fixed: the message that fixes most is meant."""


@dataclass(frozen=True, slots=True)
class _Found:
    string: str
    values: Mapping[str, str]
    letters: int
    form: str
    """As which the text was found, and the text."""

    like: str


class Recogniser:
    """Turns composed English sentences into another language.

    Parameters
    ----------
    messages
        What each English message is in the other language. ``{name}`` stands for a value.
    """

    def __init__(self, messages: Mapping[str, str]) -> None:
        self._plain: dict[str, str] = {}
        self._by_word: dict[str, list[_Pattern]] = defaultdict(list)
        self._wild: list[_Pattern] = []
        for begun, rendered in messages.items():
            message, string = begun.strip(), rendered.strip()
            if not message or not string or "%(" in message:
                continue  # those with %(name)s stand in templates, which fill them themselves
            try:
                parts = list(Formatter().parse(message))
            except ValueError:  # a brace that is a brace
                self._plain[message] = string
                continue
            if all(name is None for _, name, _, _ in parts):
                self._plain[message.format()] = string.format()
            else:
                self._add(message, string)

    def say(self, text: str) -> str:
        """Return a text in the other language; the parts that are no message stay as they are."""
        return text if len(text) > _LONGEST else (self._known(text, 0) or text)

    def _add(self, message: str, string: str) -> None:
        regex, names, letters, signs = "", [], 0, 0
        for literal, name, _, _ in Formatter().parse(message):
            regex += re.escape(literal)
            letters += sum(map(str.isalpha, literal))
            signs += len(literal) - literal.count(" ")
            if name is not None:
                regex += "(.*?)"
                names.append(name)
        loose = regex.startswith("(") and regex.rstrip("\\.").endswith(")")
        least = _LEAST_BETWEEN if loose else _LEAST_LETTERS
        if letters < least and signs < _LEAST_SIGNS:
            return
        pattern = _Pattern(re.compile(regex, re.DOTALL), tuple(names), string, letters)
        first = _FIRST_WORD.match(message)
        (self._by_word[first[1].lower()] if first else self._wild).append(pattern)

    def _known(self, text: str, depth: int) -> str | None:
        """Return a text in the other language, or None where no part of it is a message."""
        bare = text.strip()
        if not bare or depth > _DEEPEST:
            return None
        said = (
            self._all_sentences(bare, depth)
            or self._whole(bare, depth)
            or self._in_parts(bare, depth)
        )
        if said is None:
            return None
        at = text.index(bare)
        return f"{text[:at]}{said}{text[at + len(bare) :]}"

    def _whole(self, text: str, depth: int, *, sure: bool = False) -> str | None:
        """Return a text that is one message; sentences are joined with and without their stop.

        Sure is one whose values are no words, or known themselves, or what people typed.
        """
        if _SAME.fullmatch(text):
            return text
        stopped = text.endswith(".")
        found = self._found(text)
        other = self._found(text[:-1] if stopped else f"{text}.")
        if found is not None and (other is None or found.letters >= other.letters):
            return self._filled(found, depth, sure=sure)
        said = None if other is None else self._filled(other, depth, sure=sure)
        if said is None:
            return None
        return f"{said}." if stopped else said.removesuffix(".")

    def _found(self, text: str) -> _Found | None:
        """Return the message that a text is: one without values, or that which fixes most."""
        if not text:
            return None
        for form in _forms(text):
            if form in self._plain:
                return _Found(self._plain[form], {}, len(text), form, text)
        for form in _forms(text):
            best: tuple[_Pattern, re.Match[str]] | None = None
            for pattern in self._candidates(form):
                found = pattern.regex.fullmatch(form)
                if found and (best is None or pattern.letters > best[0].letters):
                    best = pattern, found
            if best is not None:
                pattern, match = best
                values = dict(zip(pattern.names, match.groups(), strict=True))
                return _Found(pattern.string, values, pattern.letters, form, text)
        return None

    def _filled(self, found: _Found, depth: int, *, sure: bool) -> str | None:
        """Put the values of a message into it, each said if it can be."""
        values = {}
        for name, value in found.values.items():
            said = self._value(name, value, depth, sure=sure)
            if said is None and sure and _WORD.search(value):
                return None
            values[name] = said or value
        said = found.string.format(**values) if values else found.string
        return _begun(said, form=found.form, like=found.like)

    def _value(self, name: str, value: str, depth: int, *, sure: bool) -> str | None:
        if name.rstrip("0123456789") in TYPED:
            return value
        if sure:
            return self._whole(value, depth + 1, sure=True)
        return self._known(value, depth + 1)

    def _candidates(self, text: str) -> Iterator[_Pattern]:
        first = _FIRST_WORD.match(text)
        if first:
            yield from self._by_word.get(first[1].lower(), ())
        yield from self._wild

    def _all_sentences(self, text: str, depth: int) -> str | None:
        """Say sentences one by one where each is known: the last value of one ends with it."""
        sentences = _SENTENCE_END.split(text)
        if len(sentences) < 2:  # noqa: PLR2004 - one is no more than the text
            return None
        said = [self._whole(sentence, depth + 1, sure=True) for sentence in sentences]
        known = [sentence for sentence in said if sentence is not None]
        return " ".join(known) if len(known) == len(said) else None

    def _in_parts(self, text: str, depth: int) -> str | None:
        sentences = _SENTENCE_END.split(text)
        if len(sentences) > 1:
            return self._sentences(sentences, depth)
        for joint in _JOINTS:
            parts = text.split(joint)
            if len(parts) > 1:
                word = joint.strip()
                between = joint.replace(word, self._plain.get(word, word))
                said = self._joined(parts, between, depth, all_known=word in _WORDS)
                if said is not None:
                    return said
        return None

    def _sentences(self, sentences: list[str], depth: int) -> str | None:
        """Return sentences in the other language, those of one message together."""
        said: list[str] = []
        found, i = False, 0
        while i < len(sentences):
            most = min(len(sentences), i + _MOST_TOGETHER)
            for j in range(most, i, -1):
                run = " ".join(sentences[i:j])
                known = self._known(run, depth + 1) if j == i + 1 else self._whole(run, depth + 1)
                if known is not None:
                    break
            said.append(run if known is None else known)
            found, i = found or known is not None, j
        return " ".join(said) if found else None

    def _joined(self, parts: list[str], between: str, depth: int, *, all_known: bool) -> str | None:
        """Return parts together; a name may have an "and" in it that is none of ours."""
        said = [self._known(part, depth + 1) for part in parts]
        unknown = said.count(None)
        if unknown == len(said) or (unknown and all_known):
            return None
        return between.join(one or part for one, part in zip(said, parts, strict=True))


def _forms(text: str) -> Iterator[str]:
    """Give a text as it is, and begun small or large: words that stand alone begin sentences."""
    yield text
    yield (text[0].lower() if text[0].isupper() else text[0].upper()) + text[1:]


def _begun(said: str, *, form: str, like: str) -> str:
    """Begin as the text did that had to be begun otherwise to be found."""
    if form[:1] == like[:1]:
        return said
    return (said[:1].upper() if like[:1].isupper() else said[:1].lower()) + said[1:]
