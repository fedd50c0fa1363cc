"""Which sites' messages a session takes, when there are several sessions.

MQTT has no filter for "all others", and messages of sites that nobody registered must be refused
with a reason too. So session 0 is subscribed to everything, and lets pass without a look what
another session takes. The others are subscribed to their own sites by name. Each site has a home
(:func:`drumkeep.domain.sharing.home`); what a session really takes is on record, and nothing is
given up that another session does not take at that moment. Meanwhile messages come twice, which
does no harm.

From when on may session 0 let a site's messages pass? Those that wait in its queue may be from
before the other session subscribed. So it publishes a mark that comes back through its own queue:
what follows the mark was sent after. Whenever it connects it begins anew, and asks the others to
have the broker confirm their subscriptions again, as that may have lost them meanwhile.
"""

import logging
import secrets
import threading
import time
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from drumkeep.domain.sharing import home
from drumkeep.ingest.backlog import Arrived
from drumkeep.ingest.subscriber import Subscriber
from drumkeep.storage import broker_sessions
from drumkeep.storage.broker_sessions import Known
from drumkeep.storage.engine import Engine
from drumkeep.storage.transaction import transaction
from drumkeep_wire.topics import Topics

_log = logging.getLogger(__name__)

_SITES_AT_ONCE: Final = 500
_MARK_TAKES_S: Final = 300.0
_NONE: Final[frozenset[str]] = frozenset()


@dataclass(frozen=True)
class _Request:
    """What the broker was asked to do with the subscriptions of some sites."""

    number: int
    sites: frozenset[str]
    adds: bool


@dataclass(frozen=True)
class _Mark:
    """A message to ourselves, and the sites that may be let pass once it has come back."""

    payload: bytes
    sites: frozenset[str]
    sent_at: float


@dataclass
class _Now:
    """What is known in one connection only."""

    epoch: int = 0
    asked: int = 0
    granted: frozenset[str] = _NONE
    refused: frozenset[str] = _NONE
    requests: list[_Request] = field(default_factory=list)
    listens: int | None = None
    """Request by which we listen to our own marks."""
    mark: _Mark | None = None
    warned: bool = False
    passes: frozenset[str] = _NONE
    """Sites whose messages another session takes."""
    passes_presence: frozenset[str] = _NONE
    """The same, for presence: it is retained, so who takes a site hears it anew."""
    drained: bool = False

    @property
    def pending(self) -> frozenset[str]:
        return frozenset().union(*(request.sites for request in self.requests))


class Share:
    """What one session takes.

    Parameters
    ----------
    engine
        Where it is on record.
    subscriber
        The session's connection.
    topics
        Under which root gateways publish.
    slot
        The session's number.
    slots
        How many sessions there shall be; one with a higher number gives up what it has.
    """

    def __init__(
        self, *, engine: Engine, subscriber: Subscriber, topics: Topics, slot: int, slots: int
    ) -> None:
        self._engine = engine
        self._subscriber = subscriber
        self._topics = topics
        self._slot = slot
        self._slots = slots
        self._mark_topic = f"{topics.root}/sessions/{slot}/mark"
        self._now = _Now()
        self._changing = threading.Lock()

    @property
    def drained(self) -> bool:
        """Whether nothing can come by this session any more."""
        return self._now.drained

    def passes(self, message: Arrived) -> bool:
        """Whether a message is none to store: another session takes it, or it is our own mark.

        For whoever reads them, in the order in which they came.
        """
        now = self._now
        if message.topic == self._mark_topic:
            if message.epoch == now.epoch:
                self._see(now, message.payload)
            return True
        if message.epoch != now.epoch or not now.passes_presence:
            return False
        levels = message.topic.removeprefix(f"{self._topics.root}/").split("/")
        if len(levels) != 3:  # noqa: PLR2004 - site, gateway, kind
            return False
        passes = now.passes_presence if levels[2] == "presence" else now.passes
        return levels[0] in passes

    def tend(self, known: Known) -> None:
        """Do what is to be done next; to be called every second.

        Parameters
        ----------
        known
            What is on record now.

        Raises
        ------
        Unavailable
            The database is away; it is done the next time.
        """
        if not self._subscriber.connected:
            return
        if self._now.epoch != self._subscriber.epoch:
            self._now = _Now(epoch=self._subscriber.epoch)
        self._collect(self._now)
        self._miss_mark(self._now)
        if self._slot == 0:
            self._tend_everything(self._now, known)
        else:
            self._tend_named(self._now, known)

    # Session 0, which is subscribed to everything.

    def _tend_everything(self, now: _Now, known: Known) -> None:
        own = {site for site in known.sites if home(site, slots=self._slots) == 0}
        elsewhere = _union(
            sites for by in (known.takes, known.leaving) for slot, sites in by.items() if slot
        )
        claimed = known.takes.get(0, _NONE)
        if not elsewhere and not claimed and self._slots == 1:
            return
        if not now.asked:
            with transaction(self._engine) as tx:
                now.asked = broker_sessions.ask(tx)
            return
        self._claim((own & elsewhere) - claimed)
        self._forget((own & claimed) - elsewhere)
        sure = frozenset(
            site
            for slot, sites in known.takes.items()
            if slot and known.answered.get(slot, 0) >= now.asked
            for site in sites - own
            if home(site, slots=self._slots) == slot
        )
        with self._changing:
            now.passes &= sure
            now.passes_presence = sure
        new = sure - now.passes
        if new and now.mark is None and self._listening(now):
            self._send_mark(now, self._hand_over(new & claimed) | (new - claimed))

    def _claim(self, sites: Collection[str]) -> None:
        if sites:
            with transaction(self._engine) as tx:
                broker_sessions.take(tx, slot=0, sites=sites)

    def _forget(self, sites: Collection[str]) -> None:
        if sites:
            with transaction(self._engine) as tx:
                broker_sessions.forget(tx, slot=self._slot, sites=sites)

    def _hand_over(self, sites: frozenset[str]) -> frozenset[str]:
        """Have nobody count on session 0 for sites any more; return those that others take."""
        if not sites:
            return _NONE
        with transaction(self._engine) as tx:
            sure = broker_sessions.give_up(tx, slot=0, to=self._homes(sites))
            broker_sessions.forget(tx, slot=0, sites=sure)
        return sure

    # The others, which are subscribed to sites by name.

    def _tend_named(self, now: _Now, known: Known) -> None:
        takes = known.takes.get(self._slot, _NONE)
        leaving = known.leaving.get(self._slot, _NONE)
        own = {site for site in known.sites if home(site, slots=self._slots) == self._slot}
        if known.asked > now.asked:
            now.asked, now.granted, now.refused = known.asked, _NONE, _NONE
        due = ((own | takes) - leaving) - now.granted - now.refused - now.pending
        self._request(now, due, adds=True)
        if not due and not now.pending and known.answered.get(self._slot, 0) < now.asked:
            with transaction(self._engine) as tx:
                broker_sessions.answer(tx, slot=self._slot, asked=now.asked)
        self._request(now, leaving - now.pending, adds=False)
        others = {
            site: there
            for site, there in self._homes((takes & now.granted) - own - now.pending).items()
            if site in known.takes.get(there, _NONE)
        }
        if others:
            with transaction(self._engine) as tx:
                broker_sessions.give_up(tx, slot=self._slot, to=others)
        empty = not own and not takes and not leaving and not now.requests
        if empty and self._slot >= self._slots and now.mark is None and self._listening(now):
            self._send_mark(now, _NONE)

    def _request(self, now: _Now, sites: Collection[str], *, adds: bool) -> None:
        for some in _portions(sorted(sites)):
            filters = [
                f"{self._topics.root}/{site}/+/{kind}"
                for site in some
                for kind in ("readings", "presence")
            ]
            call = self._subscriber.subscribe if adds else self._subscriber.unsubscribe
            number = call(filters)
            if number is not None:
                now.requests.append(_Request(number, frozenset(some), adds))

    def _collect(self, now: _Now) -> None:
        """Put on record what the broker has said meanwhile."""
        for request in list(now.requests):
            granted = self._subscriber.outcome(request.number)
            if granted is None:
                continue
            with transaction(self._engine) as tx:
                if not request.adds:
                    broker_sessions.forget(tx, slot=self._slot, sites=request.sites)
                elif granted:
                    broker_sessions.take(tx, slot=self._slot, sites=request.sites)
            now.requests.remove(request)
            if not request.adds:
                now.granted -= request.sites
            elif granted:
                now.granted |= request.sites
            else:
                now.refused |= request.sites

    # Marks.

    def _listening(self, now: _Now) -> bool:
        if now.listens is None:
            now.listens = self._subscriber.subscribe([self._mark_topic])
        if now.listens is None:
            return False
        return bool(self._subscriber.outcome(now.listens))

    def _send_mark(self, now: _Now, sites: frozenset[str]) -> None:
        mark = _Mark(secrets.token_hex(8).encode(), sites, time.monotonic())
        now.mark = mark
        if not self._subscriber.publish(self._mark_topic, mark.payload):
            now.mark = None

    def _miss_mark(self, now: _Now) -> None:
        mark = now.mark
        if mark is None or now.warned or time.monotonic() < mark.sent_at + _MARK_TAKES_S:
            return
        now.warned = True
        _log.warning(
            "A message to ourselves has not come back. If it goes on, the broker does not let us"
            " write and read %s: messages are then stored by two sessions, which does no harm"
            " but costs time",
            self._mark_topic,
        )

    def _see(self, now: _Now, payload: bytes) -> None:
        with self._changing:
            mark = now.mark
            if mark is None or payload != mark.payload:
                return  # of an earlier connection
            now.passes |= mark.sites & now.passes_presence  # of which some may be in doubt again
            now.drained = self._slot >= self._slots
            now.mark = None
        if mark.sites:
            _log.info("Other sessions take %d more sites from here on", len(mark.sites))

    def _homes(self, sites: Collection[str]) -> dict[str, int]:
        return {site: home(site, slots=self._slots) for site in sites}


def _portions(sites: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(sites), _SITES_AT_ONCE):
        yield sites[start : start + _SITES_AT_ONCE]


def _union(some: Iterator[frozenset[str]] | Collection[frozenset[str]]) -> frozenset[str]:
    return frozenset().union(*some)
