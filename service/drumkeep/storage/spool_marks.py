"""How much of each gateway's spool files is stored."""

from collections.abc import Iterable
from datetime import datetime
from typing import Final

from sqlmodel import col, select

from drumkeep.storage.tables.readings import SpoolMark
from drumkeep.storage.transaction import Tx

REMEMBERED: Final = 4096
"""Numbers past a hole that are remembered; those past the limit come again from the gateway."""

SPOOLS_KEPT: Final = 32
"""Spool files of one gateway that are remembered; a forgotten one begins anew."""


def advance(tx: Tx, *, gateway_id: int, spool: str, numbers: Iterable[int], now: datetime) -> int:
    """Note packs of a spool file as stored.

    A file never seen begins at the lowest of these numbers: what came before it was confirmed in
    an earlier life of this database. Whoever sends must therefore begin a file's first sending
    with its oldest pack.

    Returns
    -------
    int
        The number up to which every pack is stored.
    """
    stored = set(numbers)
    mark = tx.session.get(SpoolMark, (gateway_id, spool))
    if mark is None:
        mark = SpoolMark(gateway_id=gateway_id, spool=spool, upto=min(stored) - 1, changed_at=now)
        tx.session.add(mark)
        _forget_oldest(tx, gateway_id)
    stored |= set(mark.beyond)
    upto = mark.upto
    while upto + 1 in stored:
        upto += 1
    mark.upto = upto
    mark.beyond = sorted(number for number in stored if number > upto)[:REMEMBERED]
    mark.changed_at = now
    tx.session.flush()
    return upto


def _forget_oldest(tx: Tx, gateway_id: int) -> None:
    """Keep the rows bounded whatever a gateway sends."""
    statement = (
        select(SpoolMark)
        .where(SpoolMark.gateway_id == gateway_id)
        .order_by(col(SpoolMark.changed_at).desc())
        .offset(SPOOLS_KEPT)
    )
    for old in tx.session.exec(statement).all():
        tx.session.delete(old)
