"""Who may do what: four roles, the actions that each may take, and what tokens are good for."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta
from enum import StrEnum
from typing import Final

from drumkeep.domain.events import EventKind


class Role(StrEnum):
    """What a person, or an integration's token, is here for."""

    MANAGER = "manager"
    DISPATCHER = "dispatcher"
    CREW = "crew"
    VIEWER = "viewer"


class Action(StrEnum):
    """Something a role may or may not do; the value completes "may not …"."""

    READ = "read"
    RECORD = "record what happened to a drum"
    PRINT_LABELS = "print labels"
    RELEASE = "release a drum from hold"
    DISPOSE = "record the disposal of a drum"
    CORRECT_OWN = "correct an own record within ten minutes"
    CORRECT_ANY = "correct the records of others or older ones"
    MOVE_LOAD = "move a load"
    ACKNOWLEDGE_FOR_CREW = "acknowledge alarms addressed to the crew"
    ACKNOWLEDGE_FOR_DISPATCHER = "acknowledge alarms addressed to the dispatcher"
    ACKNOWLEDGE_FOR_MANAGER = "acknowledge alarms addressed to the manager"
    SHELVE = "shelve alarms"
    SETTLE_CLAIMS = "say what became of a claim"
    PULL = "make pull lists, tick them off or check drums for hooking up"
    KEEP_STOCK = "count drums, keep consumables or check a rig"
    SEND_READINGS = "send readings"
    SEND_FORECASTS = "send forecasts of the air"
    CHANGE_CATALOGUE = "change the catalogue"
    CHANGE_ACCOUNTS = "see or change accounts and tokens"
    SEE_AUDIT = "see who did what"
    TAKE_ALL = "take out all that is stored"


class Scope(StrEnum):
    """What a token is good for, within what its role may; the value completes "good to …"."""

    READ = "read"
    RECORD = "record"
    INGEST = "ingest"
    MANAGE = "manage"


_EVERYBODY: Final = frozenset(Role)
_WORKING: Final = frozenset({Role.MANAGER, Role.DISPATCHER, Role.CREW})
_SENDING: Final = frozenset({Role.MANAGER, Role.DISPATCHER})
_MANAGING: Final = frozenset({Role.MANAGER})

PERMISSIONS: Final[Mapping[Action, frozenset[Role]]] = {
    Action.READ: _EVERYBODY,
    Action.RECORD: _WORKING,
    Action.PRINT_LABELS: _WORKING,
    Action.RELEASE: _MANAGING,
    Action.DISPOSE: _MANAGING,
    Action.CORRECT_OWN: _WORKING,
    Action.CORRECT_ANY: _MANAGING,
    Action.MOVE_LOAD: _SENDING,
    Action.ACKNOWLEDGE_FOR_CREW: _WORKING,
    Action.ACKNOWLEDGE_FOR_DISPATCHER: _SENDING,
    Action.ACKNOWLEDGE_FOR_MANAGER: _MANAGING,
    Action.SHELVE: _MANAGING,
    Action.SETTLE_CLAIMS: _MANAGING,
    Action.PULL: _WORKING,
    Action.KEEP_STOCK: _WORKING,
    Action.SEND_READINGS: _WORKING,
    Action.SEND_FORECASTS: _SENDING,
    Action.CHANGE_CATALOGUE: _MANAGING,
    Action.CHANGE_ACCOUNTS: _MANAGING,
    Action.SEE_AUDIT: _MANAGING,
    Action.TAKE_ALL: _MANAGING,
}

ALL_SCOPES: Final = frozenset(Scope)

_SCOPES: Final[Mapping[str, Scope]] = {
    # what a program sends by the clock
    "readings": Scope.INGEST,
    # what people record of drums and alarms
    "drums": Scope.RECORD,
    "deliveries": Scope.RECORD,
    "moves": Scope.RECORD,
    "alarms": Scope.RECORD,
    "labels": Scope.RECORD,
    "supplier-labels": Scope.RECORD,
    "trade-items": Scope.RECORD,
    "photos": Scope.RECORD,
    "claims": Scope.RECORD,
    "counts": Scope.RECORD,
    "rig-checks": Scope.RECORD,
    "pulls": Scope.RECORD,
    "side-checks": Scope.RECORD,
    # what is asked with a body and stores nothing
    "forecasts": Scope.READ,
}

_DEEPER: Final[Mapping[tuple[str, str], Scope]] = {
    ("sites", "air-forecast"): Scope.INGEST,
    ("consumables", "entries"): Scope.RECORD,
    ("imports", "drums"): Scope.RECORD,
    ("imports", "events"): Scope.RECORD,
}

CORRECTION_WINDOW: Final = timedelta(minutes=10)
"""How long a person may put an own slip right; after that others may have acted on it."""

_ACKNOWLEDGING: Final = {
    Role.CREW: Action.ACKNOWLEDGE_FOR_CREW,
    Role.DISPATCHER: Action.ACKNOWLEDGE_FOR_DISPATCHER,
    Role.MANAGER: Action.ACKNOWLEDGE_FOR_MANAGER,
}


def may(role: Role, action: Action) -> bool:
    """Whether the role may take the action."""
    return role in PERMISSIONS[action]


def needed_scope(nouns: Sequence[str], *, changes: bool) -> Scope:
    """Return what a token must be good for to do something at an address of the API.

    Parameters
    ----------
    nouns
        The words of the address, such as ``drums`` and ``events``. What is not listed here takes
        the scope to manage, so that a new noun is shut until somebody decides.
    changes
        Whether it is more than a look.
    """
    if not changes:
        return Scope.READ
    for noun in nouns[1:]:
        deeper = _DEEPER.get((nouns[0], noun))
        if deeper is not None:
            return deeper
    return _SCOPES.get(nouns[0], Scope.MANAGE) if nouns else Scope.MANAGE


def may_acknowledge(role: Role, *, addressed: Iterable[Role]) -> bool:
    """Whether the role may acknowledge an alarm addressed to these roles; a manager may any."""
    return role is Role.MANAGER or any(
        may(role, _ACKNOWLEDGING[to]) for to in addressed if to in _ACKNOWLEDGING
    )


def event_action(kind: EventKind) -> Action:
    """Name the action of recording such an event (``corrected``: :func:`correction_action`)."""
    special = {EventKind.RELEASED: Action.RELEASE, EventKind.DISPOSED: Action.DISPOSE}
    return special.get(kind, Action.RECORD)


def correction_action(*, own: bool, age: timedelta) -> Action:
    """Name the action of correcting a record.

    Parameters
    ----------
    own
        Whether the asker recorded it.
    age
        Time since it was recorded.
    """
    return Action.CORRECT_OWN if own and age <= CORRECTION_WINDOW else Action.CORRECT_ANY
