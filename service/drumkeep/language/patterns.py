"""Finds the message of a sentence whose values are filled in already."""

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from string import Formatter
from typing import Final

_SENTENCE_END: Final = re.compile(r"(?<=[.!?…])\s+(?=[^\W\d_]|\d)")
_AND: Final = "and"
_JOINTS: Final = ("; ", ": ", ", ", f" {_AND} ")
_FIRST_WORD: Final = re.compile(r"\s*([^\W\d_]+)(?=[\s,.:;]|$)")
_LEAST_LETTERS: Final = 3
_LONGEST: Final = 2000
_DEEPEST: Final = 6


@dataclass(frozen=True, slots=True)
class _Pattern:
    regex: re.Pattern[str]
    names: tuple[str, ...]
    """Of the groups, in order."""

    string: str
    letters: int
    """How many letters of the message are fixed: the message that fixes most is meant."""


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
        for message, string in messages.items():
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
        regex, names, letters = "", [], 0
        for literal, name, _, _ in Formatter().parse(message):
            regex += re.escape(literal)
            letters += sum(map(str.isalpha, literal))
            if name is not None:
                regex += "(.*?)"
                names.append(name)
        if letters < _LEAST_LETTERS:
            return
        pattern = _Pattern(re.compile(regex, re.DOTALL), tuple(names), string, letters)
        first = _FIRST_WORD.match(message)
        (self._by_word[first[1].lower()] if first else self._wild).append(pattern)

    def _known(self, text: str, depth: int) -> str | None:
        """Return a text in the other language, or None where no part of it is a message."""
        bare = text.strip()
        if not bare or depth > _DEEPEST:
            return None
        said = self._whole(bare, depth) or self._in_parts(bare, depth)
        if said is None:
            return None
        at = text.index(bare)
        return f"{text[:at]}{said}{text[at + len(bare) :]}"

    def _whole(self, text: str, depth: int) -> str | None:
        for form, back in _forms(text):
            if form in self._plain:
                return _begun(self._plain[form], like=back)
        for form, back in _forms(text):
            best: tuple[int, _Pattern, re.Match[str]] | None = None
            for pattern in self._candidates(form):
                found = pattern.regex.fullmatch(form)
                if found and (best is None or pattern.letters > best[0]):
                    best = pattern.letters, pattern, found
            if best is not None:
                _, pattern, found = best
                values = {
                    name: self._known(value, depth + 1) or value
                    for name, value in zip(pattern.names, found.groups(), strict=True)
                }
                return _begun(pattern.string.format(**values), like=back)
        return None

    def _candidates(self, text: str) -> Iterator[_Pattern]:
        first = _FIRST_WORD.match(text)
        if first:
            yield from self._by_word.get(first[1].lower(), ())
        yield from self._wild

    def _in_parts(self, text: str, depth: int) -> str | None:
        sentences = _SENTENCE_END.split(text)
        if len(sentences) > 1:
            return self._joined(sentences, " ", depth)
        for joint in _JOINTS:
            parts = text.split(joint)
            if len(parts) > 1:
                between = joint.replace(_AND, self._plain.get(_AND, _AND))
                said = self._joined(parts, between, depth)
                if said is not None:
                    return said
        return None

    def _joined(self, parts: list[str], between: str, depth: int) -> str | None:
        said = [self._known(part, depth + 1) for part in parts]
        if all(one is None for one in said):
            return None
        return between.join(one or part for one, part in zip(said, parts, strict=True))


def _forms(text: str) -> Iterator[tuple[str, str]]:
    """Give a text as it is, and beginning small: sentences begin with words that stand alone."""
    yield text, ""
    if text[0].isupper():
        yield text[0].lower() + text[1:], text


def _begun(said: str, *, like: str) -> str:
    """Begin with a capital where the text did that had to be made small to be found."""
    return said[:1].upper() + said[1:] if like else said
