"""Which of our sessions at the broker takes which sites' messages."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from sqlalchemy import delete, update
from sqlmodel import col, select

from drumkeep.storage.tables.broker_sessions import BrokerSession, SessionSite
from drumkeep.storage.tables.catalogue import Site
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True)
class Known:
    """What is on record of all sessions.

    Attributes
    ----------
    sites
        Codes of all sites: those that are registered, and those that a session takes all the same.
    takes
        By session, the sites whose messages go to it.
    leaving
        By session, the sites that it is about to give up.
    asked
        How often session 0 has asked the others whether they take what is theirs.
    answered
        By session, up to which time it has answered.
    """

    sites: frozenset[str]
    takes: Mapping[int, frozenset[str]]
    leaving: Mapping[int, frozenset[str]]
    asked: int
    answered: Mapping[int, int]


def look(tx: Tx) -> Known:
    """Look at all of it."""
    takes: dict[int, set[str]] = defaultdict(set)
    leaving: dict[int, set[str]] = defaultdict(set)
    sites = set(tx.session.exec(select(Site.code)).all())
    for slot, site, leaves in tx.session.exec(
        select(SessionSite.slot, SessionSite.site, SessionSite.leaving)
    ):
        (leaving if leaves else takes)[slot].add(site)
        sites.add(site)
    sessions = tx.session.exec(select(BrokerSession)).all()
    return Known(
        sites=frozenset(sites),
        takes={slot: frozenset(some) for slot, some in takes.items()},
        leaving={slot: frozenset(some) for slot, some in leaving.items()},
        asked=next((session.asked for session in sessions if session.slot == 0), 0),
        answered={session.slot: session.answered for session in sessions},
    )


def enlist(tx: Tx, *, slot: int) -> None:
    """Note that a session may exist at the broker from now on."""
    if tx.session.get(BrokerSession, slot) is None:
        tx.session.add(BrokerSession(slot=slot))
        tx.session.flush()


def delist(tx: Tx, *, slot: int) -> None:
    """Note that a session is no more."""
    tx.session.exec(delete(BrokerSession).where(col(BrokerSession.slot) == slot))


def ask(tx: Tx) -> int:
    """Ask all sessions whether they take what is theirs; return the number of the question."""
    enlist(tx, slot=0)
    session = tx.session.get_one(BrokerSession, 0)
    session.asked += 1
    tx.session.flush()
    return session.asked


def answer(tx: Tx, *, slot: int, asked: int) -> None:
    """Answer a question: the broker has just confirmed all that the session takes."""
    tx.session.exec(
        update(BrokerSession).where(col(BrokerSession.slot) == slot).values(answered=asked)
    )


def take(tx: Tx, *, slot: int, sites: Collection[str]) -> None:
    """Note that the messages of these sites go to a session now."""
    there = _rows(tx, slot=slot, sites=sites)
    for row in there.values():
        row.leaving = False
    tx.session.add_all(SessionSite(slot=slot, site=site) for site in set(sites) - there.keys())
    tx.session.flush()


def give_up(tx: Tx, *, slot: int, to: Mapping[str, int]) -> frozenset[str]:
    """Note that a session is about to give up sites.

    Parameters
    ----------
    to
        By site, the session that takes it instead.

    Returns
    -------
    frozenset[str]
        Those that the other session does take at this moment; the rest stays.
    """
    taken = {
        (row.slot, row.site)
        for row in tx.session.exec(
            select(SessionSite).where(
                col(SessionSite.site).in_(to), col(SessionSite.leaving).is_(False)
            )
        )
    }
    sure = frozenset(site for site, other in to.items() if (other, site) in taken)
    for row in _rows(tx, slot=slot, sites=sure).values():
        row.leaving = True
    tx.session.flush()
    return sure


def forget(tx: Tx, *, slot: int, sites: Iterable[str]) -> None:
    """Note that a session has nothing to do with these sites any more."""
    tx.session.exec(
        delete(SessionSite).where(
            col(SessionSite.slot) == slot, col(SessionSite.site).in_(list(sites))
        )
    )


def _rows(tx: Tx, *, slot: int, sites: Collection[str]) -> dict[str, SessionSite]:
    statement = select(SessionSite).where(
        col(SessionSite.slot) == slot, col(SessionSite.site).in_(list(sites))
    )
    return {row.site: row for row in tx.session.exec(statement)}
