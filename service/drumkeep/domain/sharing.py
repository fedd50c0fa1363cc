"""How work is shared out: sites among sessions at the broker, sessions among processes."""

import hashlib
from collections.abc import Collection, Mapping
from functools import lru_cache


@lru_cache(maxsize=65_536)
def home(site: str, *, slots: int) -> int:
    """Return which of so many sessions takes a site's messages.

    The session that a hash of both ranks highest (rendezvous hashing; Thaler and Ravishankar 1998):
    everybody who computes it finds the same, and one session more takes only its own share from
    the others.
    """
    return max(range(slots), key=lambda slot: _rank(site, slot))


def target(*, me: int, held: Mapping[int, int], slots: int) -> int:
    """Return how many of the sessions a process shall hold.

    Parameters
    ----------
    me
        The process, as a number.
    held
        How many each process that ingests holds now, this one among them.
    slots
        How many sessions there are.

    Returns
    -------
    int
        Where they do not divide evenly, those who hold most keep one more, so that none changes
        hands for nothing.
    """
    share, rest = divmod(slots, len(held))
    ranked = sorted(held, key=lambda one: (-held[one], one))
    return share + (ranked.index(me) < rest)


def somebody_waits(*, held: Mapping[int, int], slots: int) -> bool:
    """Whether a process holds less than everybody's least share."""
    return min(held.values()) < slots // len(held)


def free(slots: Collection[int], *, held: Collection[int]) -> list[int]:
    """Return the sessions that nobody holds, in order."""
    return sorted(set(slots) - set(held))


def _rank(site: str, slot: int) -> bytes:
    return hashlib.blake2b(f"{slot}/{site}".encode(), digest_size=8).digest()
