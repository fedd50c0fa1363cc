"""What can go wrong, said in kinds that each way in renders for its own reader.

An operation raises one of the kinds below and never thinks of HTTP, a terminal or a form. The
kind says what sort of trouble it is; its faults say which field, with which value, and how to mend
it. The seam that turns kinds into status codes and ``application/problem+json`` (RFC 9457) is
``drumkeep.asgi.problems``; the command line has its own.
"""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Final

_LONGEST: Final = 200


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with what was asked.

    Attributes
    ----------
    field
        Where it is: the name as the asker wrote it, dotted into structures (``air_c.3.h``). Empty
        when the fault lies in the request as a whole.
    value
        What was found there, as it came. Never a secret: whoever builds a fault for a password or
        a token gives None.
    problem
        What is wrong with it, as a clause: ``"is below absolute zero"``.
    mend
        What to do instead, as a sentence: ``"Give a temperature from -60 to 200 °C."``.
    """

    field: str
    value: object
    problem: str
    mend: str

    def __str__(self) -> str:
        """Tell the fault in one line: field, value, problem, mend."""
        return self.told(str)

    def told(self, say: Callable[[str], str]) -> str:
        """Tell the fault in one line in the language in which ``say`` says a sentence of ours."""
        # A name is the asker's too, when nothing here goes by it.
        name = say(self.field) if self.field.isprintable() else repr(self.field)
        value = "" if self.value is None else repr(self.value)
        named = " ".join(_short(part) for part in (name, value) if part) or say("What was given")
        return f"{named} {say(self.problem)}. {say(self.mend)}"


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}…"


class DrumkeepError(Exception):
    """Any trouble that drumkeep foresees; what is not one of these is a defect.

    Parameters
    ----------
    title
        What happened, as a sentence for a person.
    faults
        The single things wrong, in the order in which they were found. May be empty.
    """

    def __init__(self, title: str, faults: Iterable[Fault] = ()) -> None:
        super().__init__(title)
        self.title = title
        self.faults: tuple[Fault, ...] = tuple(faults)

    def __str__(self) -> str:
        """Tell the title, then each fault on a line of its own."""
        return "\n".join([self.title, *(str(fault) for fault in self.faults)])


@contextmanager
def faults_within(where: str) -> Iterator[None]:
    """Have faults name their fields as parts of a larger thing: ``tag`` becomes ``2.tag``.

    Parameters
    ----------
    where
        The larger thing's own name or number; empty leaves the names as they are.
    """
    try:
        yield
    except DrumkeepError as error:
        if where:
            error.faults = tuple(
                replace(fault, field=f"{where}.{fault.field}") for fault in error.faults
            )
        raise


class Invalid(DrumkeepError):
    """What was sent makes no sense by itself: wrong type, unit, range, zone, or not JSON."""


class NotFound(DrumkeepError):
    """What was named does not exist."""


class Conflict(DrumkeepError):
    """What was sent makes sense, but not with what is stored: a tag twice, a move too early."""


class Refused(DrumkeepError):
    """The asker is known, and may not do this."""


class Unauthenticated(DrumkeepError):
    """The asker is not known: no session, no token, a wrong one, or a wrong password."""


class Unavailable(DrumkeepError):
    """It cannot be done now and may be later: a locked database, a broker that is away."""


@contextmanager
def heard(faults: list[Fault]) -> Iterator[None]:
    """Go on past what makes no sense, noting its faults, so that all of them are told at once."""
    try:
        yield
    except Invalid as error:
        faults += error.faults
